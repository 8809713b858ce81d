"""How long a command takes until it knows what is asked of it: the interpreter, the parser and what they load."""

from __future__ import annotations

import subprocess
import sys
import time

from brakebeat.bench.parts.figure import Figure, Measured, Scale
from brakebeat.bench.parts.processor import processor_s
from brakebeat.commands import COMMANDS

LIMIT_S = 0.25


def measure(scale: Scale) -> Measured:
    """The least of a few starts, of ``--help`` and of the command that takes longest: what else runs only adds."""
    times = scale.of(5, 1)
    commands = list(COMMANDS)[:3] if scale.quick else list(COMMANDS)
    bare_s = _least_s(["-c", "pass"], times)
    top_s = _least_s(["-m", "brakebeat", "--help"], times)
    by_command = {name: _least_s(["-m", "brakebeat", name, "--help"], times) for name in commands}
    slowest = max(by_command, key=lambda name: by_command[name][0])
    rows = {
        "python alone": (bare_s, None),
        "brakebeat --help": (top_s, LIMIT_S),
        f"brakebeat {slowest} --help (the slowest of {len(commands)})": (by_command[slowest], LIMIT_S),
    }
    return Measured(
        [
            figure
            for what, ((clock_s, busy_s), limit_s) in rows.items()
            for figure in (
                Figure(what, "on the clock", clock_s, "s", limit_s),
                Figure(what, "of processor", busy_s, "s"),
            )
        ]
    )


def _least_s(words: list[str], times: int) -> tuple[float, float]:
    """(seconds on the clock, seconds of processor), each the least."""
    clock_s, busy_s = [], []

    def start() -> None:
        subprocess.run([sys.executable, *words], check=True, capture_output=True)

    for _ in range(times):
        began_s = time.perf_counter()
        busy_s.append(processor_s(start)[1])
        clock_s.append(time.perf_counter() - began_s)
    return min(clock_s), min(busy_s)
