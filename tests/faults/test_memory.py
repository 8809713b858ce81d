"""Too little memory: a rep that cannot be worked out is left out and counted, and the next set is right again."""

import subprocess

import pytest

from brakebeat.board.engine import micropython_command
from brakebeat.board.files import firmware_dir
from tests.faults.lived import CONNECT, POWER, REPORT, REPS, REST, live, needs_vm, pull, reps_of

pytestmark = needs_vm


@pytest.mark.parametrize("leave_bytes", [2_000, 100_000])
def test_while_it_runs(tmp_path, leave_bytes):
    """Somebody holds all memory but so much for a set; what is free lies in pieces."""
    orders = (POWER, CONNECT, pull(), REST, pull(leave_bytes=leave_bytes), REST, REPORT, pull(), REST, REPORT)
    outcome = live(tmp_path, *orders, heap="500k")
    assert outcome.code == 0, outcome.console
    short, last = outcome.reports
    left_out = 2 * REPS - short["reps"]
    assert short["faults"] > 0
    assert short["trouble"].startswith("out of memory, a rep is left out: MemoryError(")
    # Each that is missing is counted, as turning that was no whole rep.
    assert 0 < left_out <= short["incomplete"]
    assert last["reps"] == short["reps"] + REPS
    assert (last["faults"], last["incomplete"]) == (short["faults"], short["incomplete"])
    assert len(reps_of(outcome)) + last["reps_lost"] == last["reps"]


def test_at_power_up_it_says_so_and_starts_again(tmp_path):
    """On a board ``machine.reset`` follows the message; here there is nothing to reset."""
    (tmp_path / "main.py").write_text(
        (firmware_dir() / "main.py").read_text().replace("sleep(5)", "sleep(0)")
    )
    (tmp_path / "brakebeat_fw").symlink_to(firmware_dir() / "brakebeat_fw")
    command = [str(micropython_command()), "-X", "heapsize=150k", "main.py"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 1
    assert "MemoryError" in done.stdout + done.stderr
