"""Workers end when whoever started them does."""

import os
import subprocess
import sys
import time

import pytest

PARENT = """
import os, sys, time
from brakebeat.pools import fresh_pool, interrupt_held

if __name__ == "__main__":
    pool = fresh_pool(2)
    with interrupt_held():
        futures = [pool.submit(os.getpid) for _ in range(8)]
    print(*{future.result() for future in futures}, flush=True)
    time.sleep(600)
"""


def _alive(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    # A process that nobody has asked about yet is still listed.
    with open(f"/proc/{pid}/stat") as stat:  # noqa: PTH123
        return stat.read().rpartition(")")[2].split()[0] != "Z"


@pytest.mark.skipif(not os.path.isdir("/proc/self"), reason="no /proc here")  # noqa: PTH112
def test_a_killed_parent_leaves_no_worker_behind(tmp_path):
    script = tmp_path / "parent.py"
    script.write_text(PARENT)
    parent = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True)
    assert parent.stdout is not None
    workers = [int(word) for word in parent.stdout.readline().split()]
    assert workers
    parent.kill()
    parent.wait()
    began_s = time.monotonic()
    while any(map(_alive, workers)) and time.monotonic() - began_s < 60:
        time.sleep(0.05)
    assert not any(map(_alive, workers))
