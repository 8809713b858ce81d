"""Many recordings at once: order, errors among them, interruption."""

import multiprocessing

import pytest

from brakebeat.check import FileReport, load_limits
from brakebeat.check.batch import Job, check_files
from brakebeat.errors import InputError

JOB = Job(load_limits(), engine="cpython")


def test_processes_give_the_same_as_one_alone_in_the_order_asked_for(tmp_path):
    broken = tmp_path / "broken.csv"
    broken.write_text("# brakebeat-pulses: 1\n# pulses_per_rev: 6\nt_us,step\n1.5,0\n")
    files = ["sample:late", str(broken), "sample:clean"]
    ready = []
    outcomes = check_files(files, JOB, jobs=2, done=lambda: ready.append(1))
    assert len(ready) == 3
    assert isinstance(outcomes[1], InputError)
    assert "broken.csv:4" in str(outcomes[1])
    assert [outcome.file for outcome in outcomes if isinstance(outcome, FileReport)] == files[::2]
    assert outcomes[0] == check_files(files[:1], JOB, jobs=1)[0]


def test_an_interruption_leaves_no_process_behind():
    before = set(multiprocessing.active_children())

    def interrupt():
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        check_files(
            ["sample:clean", "sample:late", "sample:dirty", "sample:sets"], JOB, jobs=2, done=interrupt
        )
    assert set(multiprocessing.active_children()) == before
