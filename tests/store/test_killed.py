"""A process that is killed while it writes loses nothing that it had acknowledged, reps or edges."""

import os
import random
import signal
import subprocess
import sys

import pytest

from brakebeat.store import open_store
from brakebeat.store.queries import sets
from brakebeat.store.sessions import load_recording

# Says each rep's index once `add_rep` has returned. Another process writes into the same store.
WRITER = """
import sys
from tests.store.made_up import a_set, recording, rep
from brakebeat.store import open_store
from brakebeat.store.sessions import add_rep, keep_edges
store = open_store(sys.argv[1])
while True:
    _, set_id = a_set(store, 0)
    print("set", set_id, flush=True)
    for index in range(int(sys.argv[2])):
        with store.writing():
            add_rep(store, set_id, rep(index))
            keep_edges(store, set_id, recording(50 + index, set_id))
        print("rep", set_id, index, flush=True)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="a kill that nothing can catch")
# Two kills a seed: two hundred of them on demand, some of them in every run.
@pytest.mark.parametrize("seed", range(100 if os.environ.get("BRAKEBEAT_LONG") else 6))
def test_killed_at_a_random_moment(seed, tmp_path):
    path = tmp_path / "log"
    open_store(path).close()
    draw = random.Random(seed)
    acknowledged = [_killed(path, draw.randint(0, 60), draw.uniform(0.0, 0.01)) for _ in range(2)]
    with open_store(path) as store:
        assert store.faults() == []
        there = {each.id: {stored.rep.index for stored in each.reps} for each in sets(store)}
        for set_id, reps in there.items():
            kept = load_recording(store, set_id)
            assert len(kept.t_us) == 49 + len(reps) if reps else kept is None
    for lines in acknowledged:
        for kind, set_id, *index in lines:
            assert set_id in there
            if kind == "rep":
                assert index[0] in there[set_id]


def _killed(path, lines: int, later_s: float) -> list[tuple]:
    """What a writer said before it was killed, some time after it had said so many lines."""
    command = [sys.executable, "-c", WRITER, str(path), "7"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        said = [writer.stdout.readline() for _ in range(lines + 1)]
        try:
            writer.wait(later_s)
        except subprocess.TimeoutExpired:
            writer.kill()
        said += writer.stdout.readlines()
    assert writer.returncode == -signal.SIGKILL
    whole = [line.split() for line in said if line.endswith("\n")]
    return [(kind, *(int(number) for number in numbers)) for kind, *numbers in whole]


def test_several_processes_at_once(tmp_path):
    path = tmp_path / "log"
    program = WRITER.replace("while True:", "for _ in range(3):")
    writers = [
        subprocess.Popen([sys.executable, "-c", program, str(path), "5"], stdout=subprocess.DEVNULL)
        for _ in range(3)
    ]
    assert [writer.wait() for writer in writers] == [0, 0, 0]
    with open_store(path) as store:
        assert store.faults() == []
        assert [len(each.reps) for each in sets(store)] == [5] * 9
