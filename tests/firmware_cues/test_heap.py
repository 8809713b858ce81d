"""On the way back a board takes heap only in the few moments when an angle may have been reached, never per edge."""

import json
import subprocess

import pytest

from brakebeat.board.engine import micropython_command
from brakebeat.board.files import firmware_dir
from tests.firmware.exact import magnet_edges, microseconds, steady
from tests.firmware.test_cues import FIRST_S, Pull

# Once a millisecond round the main loop, as a board goes; counted are the rounds that end on the way back of a rep.
SCRIPT = """
import gc, json, sys
from array import array
sys.path.insert(0, sys.argv[1])
from brakebeat_fw import rigfile
from brakebeat_fw.session import ECCENTRIC, Session

task = json.loads(sys.stdin.readline())
rig = rigfile.defaults()
rig.update(task["rig"])
cues = []
session = Session(rig, lambda *record: None, lambda kind, rep, t_us: cues.append(rep))
times = array("i", [0] * 64)
steps = array("b", [0] * 64)
edges = array("i", task["edges"])
ways = []
place = 0
began = False
way = []
for now in range(0, edges[len(edges) - 1] + 2_000_000, 1000):
    count = 0
    while place < len(edges) and edges[place] <= now:
        times[count] = edges[place]
        steps[count] = 0
        count += 1
        place += 1
    was_reading = session._reading
    before = gc.mem_alloc() if began else 0
    session.feed(times, steps, count)
    session.poll(now)
    if session._reading:
        # The wheel has turned: what comes now is no look.
        began = False
    elif began and session.phase == ECCENTRIC:
        way = ways[len(ways) - 1]
        way[0] += 1
        way[1] += count
        way[2] += gc.mem_alloc() != before
    elif session.phase == ECCENTRIC and not was_reading:
        began = True
        ways.append([0, 0, 0])
        # Nothing is collected before the way's end: there is room for far more than it takes.
        gc.collect()
    else:
        began = False
print(json.dumps([ways, cues]))
"""


@pytest.mark.skipif(micropython_command() is None, reason="no MicroPython VM is installed")
@pytest.mark.parametrize(("magnets", "fraction"), [(6, 0.2), (12, 0.7)])
def test_few_looks_take_heap(magnets, fraction, tmp_path):
    script = tmp_path / "heap.py"
    script.write_text(SCRIPT, "utf-8")
    pieces = [piece for place in range(5) for piece in Pull(fraction).pieces((-1) ** place)]
    edges = microseconds(magnet_edges(steady(pieces), magnets, FIRST_S))
    task = {"rig": {"pulses_per_rev": magnets, "cues.window_cue": True}, "edges": list(edges)}
    done = subprocess.run(
        # A small heap: what is taken is found by looking through all of it.
        [micropython_command(), "-X", "heapsize=4m", str(script), str(firmware_dir())],
        input=json.dumps(task) + "\n",
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    ways, cues = json.loads(done.stdout)
    # Window and late cues for the reps that are no momentum reps, as far as they are late.
    assert cues == ([2, 3, 4] if fraction < 0.35 else [2, 2, 3, 3, 4, 4])
    with_cues = ways[-3:]
    for rounds, edges_passed, with_heap in with_cues:
        assert rounds > 200
        assert edges_passed > 2 * magnets
        # Looks at the window's and the late angle, each renewed as the wheel slows, and verdicts; no edge beside.
        assert 2 <= with_heap <= 12
    for _, _, with_heap in ways[:-3]:
        # Momentum reps get no cue: nothing to look at.
        assert with_heap == 0
