"""The hot path does the same as viper code, as plain bytecode and on CPython, whatever the edges are."""

import json
import re
import subprocess
from array import array

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brakebeat.board.engine import command_line, micropython_command
from brakebeat.board.files import firmware_dir
from tests.firmware.loaded import detector, stretch
from tests.firmware.test_compiles import without_viper

# Each line of input is a task: which first pass, changes of the state, times, steps; the answer is all that is left.
SCRIPT = """
import json, sys
from array import array
sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[2])
import plain_detector
from brakebeat_fw import detector

{run}

for line in sys.stdin:
    task = json.loads(line)
    print(json.dumps([run(detector, task), run(plain_detector, task)]))
"""

# Runs in all three: both passes over the edges in batches, and all that is left behind.
RUN = """
CAPACITY = 384

def run(detector, task):
    first_pass, changes, edge_times, edge_steps, size = task
    state = array("i", [0] * detector.STATE_SIZE)
    for place, value in changes:
        state[place] = value
    buffer = array("i", [0] * (2 * CAPACITY))
    answers = []
    for first in range(0, len(edge_times), size):
        times = array("i", edge_times[first : first + size])
        steps = array("b", edge_steps[first : first + size])
        kept = getattr(detector, first_pass)(state, times, steps, len(times))
        answers.append([kept, list(times), list(steps)])
        state[PLACE_USED] = 0
        state[PLACE_GIVEN] = kept
        while state[PLACE_USED] < kept:
            answer = detector.follow(state, buffer, times, steps)
            state[PLACE_USED] = answer >> 4
            answers.append(answer)
            if answer & 15:
                # A rep's end, or a full buffer: start afresh, as a session does.
                for place in (PLACE_COUNT, PLACE_SLOW, PLACE_SLOWEST, PLACE_RUN):
                    state[place] = 0
                state[PLACE_TURN_AT] = state[PLACE_KNOWN_TURN] = 0
                state[PLACE_FASTEST] = detector.DT_MAX
    return [answers, list(state), list(buffer)]
"""

# The state's places are consts that exist in their own file only, on the VM: their numbers go in.
RUN = re.sub(r"PLACE_([A-Z0-9_]+)", lambda name: str(getattr(detector, f"_{name[1]}")), RUN)

here: dict = {"array": array}
exec(RUN, here)

GAP = (
    st.integers(0, 2_000)
    | st.integers(2_000, 60_000)
    | st.sampled_from([8_000, 12_000])
    | st.integers(60_000, 4_000_000)
    | st.sampled_from([0x800000, 2**29, 2**30 - 1])
)
RUNS = st.lists(st.tuples(GAP, st.integers(1, 20), GAP), max_size=8).map(
    lambda runs: [gap for every, times, odd in runs for gap in [*[every] * times, odd]]
)


@st.composite
def tasks(draw):
    """A first pass with a state as a session prepares it, and edges in batches."""
    gaps = draw(st.lists(GAP, max_size=60) | RUNS)
    at = draw(st.integers(0, 2**30 - 1))
    times = []
    for gap in gaps:
        at = (at + gap) % 2**30
        times.append(at)
    signed = draw(st.booleans())
    steps = draw(
        st.lists(st.sampled_from([-1, 1]) if signed else st.just(0), min_size=len(times), max_size=len(times))
    )
    stride = draw(st.sampled_from([1, 1, 4, 100]))
    changes = {
        detector._LEAST_FROM_REST: draw(st.integers(8, 0x3FFF)),
        detector._REST_GAP: draw(st.sampled_from([616_666, 1_200_000])),
        detector._SLOW_TENTHS: 25,
        detector._CAPACITY: 384,
        detector._STRIDE: stride,
        detector._BASE_STRIDE: stride,
        detector._THIN: stride,
        detector._CONFIRM: draw(st.integers(4, 12)),
        detector._FASTEST: detector.DT_MAX,
        detector._POSITION: draw(st.sampled_from([0, 0, 5, 0x1FFFFFF0])),
    }
    return ["decode" if signed else "accept", list(changes.items()), times, steps, draw(st.integers(1, 64))]


@pytest.fixture(scope="module")
def board(tmp_path_factory):
    """The VM, waiting for tasks."""
    if micropython_command() is None:
        pytest.skip("no MicroPython VM here")
    folder = tmp_path_factory.mktemp("plain")
    hot = firmware_dir() / "brakebeat_fw" / "detector.py"
    (folder / "plain_detector.py").write_text(without_viper(hot.read_text("utf-8")), "utf-8")
    script = folder / "run.py"
    script.write_text(SCRIPT.replace("{run}", RUN), "utf-8")
    command = command_line("micropython", script, str(folder))
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        yield process
        process.stdin.close()
    assert process.returncode == 0


@settings(max_examples=200)
@given(tasks())
def test_all_three_agree(board, task):
    board.stdin.write(json.dumps(task) + "\n")
    board.stdin.flush()
    viper, bytecode = json.loads(board.stdout.readline())
    assert here["CAPACITY"] == stretch.CAPACITY
    on_cpython = here["run"](detector, task)
    assert bytecode == on_cpython
    assert viper == bytecode
