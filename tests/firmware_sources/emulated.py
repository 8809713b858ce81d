"""The PIO program of the firmware, assembled by adafruit_pioasm and run by rp2040-pio-emulator over known levels."""

import functools
import importlib.util
from bisect import bisect_right
from collections import deque
from dataclasses import dataclass

from pioemu import State, emulate

from tests.firmware_sources.boards_vm import run
from tests.firmware_sources.stubs import fetched

CYCLES_PER_US = 16

_TEXT = """
world = setup.board("rp2")
from brakebeat_fw import pio
stamp = pio.stamper(json.loads(sys.stdin.readline()))
print(json.dumps([stamp["text"], stamp["settings"]]))
"""


@dataclass(frozen=True)
class Program:
    """Instruction words; where they start again; where the loop begins."""

    words: list[int]
    wrap_target: int
    wrap_top: int
    text: str


@functools.cache
def program(pins: int) -> Program:
    """What `pio.stamper` describes, in words."""
    (text, settings), _said = run(_TEXT, pins)
    assert settings == {"in_shiftdir": 0, "fifo_join": 2}
    spec = importlib.util.spec_from_file_location("adafruit_pioasm", fetched("pioasm") / "adafruit_pioasm.py")
    assert spec is not None
    assert spec.loader is not None
    assembler = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(assembler)
    made = assembler.Program(".program stamp\n" + text)
    wraps = made.pio_kwargs
    return Program(list(made.assembled), wraps["wrap_target"], wraps["wrap"], text)


def stamps(pins: int, changes: list[tuple[int, int]], cycles: int, x: int | None = None) -> list[int]:
    """Words that come out while the levels are as in ``changes``: (cycle, levels), the first at cycle 0.

    x: begin in the loop with that count. What comes out is taken at once, as the DMA takes it.
    """
    made = program(pins)
    starts = [cycle for cycle, _ in changes]
    levels = [level for _, level in changes]

    def look(clock: int) -> int:
        return levels[bisect_right(starts, clock) - 1]

    state = State()
    if x is not None:
        state = State(program_counter=made.wrap_target, x_register=x, y_register=levels[0])
    words: list[int] = []
    steps = emulate(
        made.words,
        stop_when=lambda _word, state: state.clock >= cycles,
        initial_state=state,
        input_source=look,
        shift_isr_right=False,
        wrap_target=made.wrap_target,
        wrap_top=made.wrap_top,
    )
    for before, after in steps:
        fifo: deque[int] = after.receive_fifo
        if len(fifo) > len(before.receive_fifo):
            words.append(fifo[-1])
        fifo.clear()
    return words
