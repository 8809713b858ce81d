"""A Dask cluster on this computer: a worker that is killed half-way, one with other code, none at all."""

import json
import subprocess
import sys
import time
from contextlib import contextmanager
from types import SimpleNamespace

import pytest

import brakebeat.many.cluster as cluster_module
from brakebeat.cli import main
from brakebeat.errors import DeviceError, InputError
from brakebeat.many.cluster import Cluster
from brakebeat.many.folder import ResultsFolder
from brakebeat.many.run import work_through
from brakebeat.many.sources import named_recordings
from brakebeat.many.version import versions_of
from brakebeat.many.work import Order, Task

from .conftest import tree

distributed = pytest.importorskip("distributed")
ORDER = Order(versions_of(("cpython", "reference")))
_LONG_S = 120


def _dask(*words, folder):
    command = [sys.executable, "-m", f"distributed.cli.dask_{words[0]}", *words[1:], "--no-dashboard"]
    return subprocess.Popen(command, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


class LocalCluster:
    """A scheduler and workers, each a process that can be killed."""

    def __init__(self, folder):
        self.folder = folder
        self.workers = []
        file = folder / "scheduler.json"
        words = ("--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(file))
        self.scheduler = _dask("scheduler", *words, folder=folder)
        began_s = time.monotonic()
        while not file.exists():
            assert time.monotonic() - began_s < _LONG_S
            time.sleep(0.05)
        self.address = json.loads(file.read_text())["address"]

    def add_worker(self):
        """One more process that takes one task at a time."""
        self.workers.append(
            _dask("worker", self.address, "--no-nanny", "--nthreads", "1", folder=self.folder)
        )

    def end(self):
        """Kill everything that still runs."""
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.wait()


@contextmanager
def _cluster(folder, workers):
    cluster = LocalCluster(folder)
    try:
        for _ in range(workers):
            cluster.add_worker()
        yield cluster
    finally:
        cluster.end()


def test_the_same_bits_though_a_worker_is_killed_half_way(sets, tmp_path):
    """As `--scheduler`, `--out` and the Parquet dataset on the command line, against one process here."""
    files = ["check", "--engine", "cpython", "--json", str(sets)]
    alone, shared = tmp_path / "alone", tmp_path / "shared"
    assert main([*files, "--jobs", "1", "--out", str(alone)]) == 2
    with _cluster(tmp_path, 2) as cluster:
        call = [
            sys.executable,
            "-m",
            "brakebeat",
            *files,
            "--out",
            str(shared),
            "--scheduler",
            cluster.address,
        ]
        command = subprocess.Popen(call, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        while command.poll() is None and not list(shared.glob("reference/*/*.json")):
            time.sleep(0.02)
        assert command.poll() is None
        cluster.workers[0].kill()
        out, err = command.communicate(timeout=_LONG_S)
    assert command.returncode == 2
    assert f"{sets}/broken.csv:5: " in err
    assert "Traceback" not in err
    document = json.loads(out)
    assert [entry["verdict"] for entry in document["files"]] == ["pass"] * 5
    assert [entry["file"] for entry in document["errors"]] == [f"{sets}/broken.csv"]
    assert tree(shared) == tree(alone)
    assert any(name.startswith("parquet/reps/engine=reference/") for name in tree(shared))


def test_a_cluster_that_all_workers_have_left_is_no_reason_to_wait_for_ever(sets, tmp_path):
    """The call ends, what was done is kept."""
    with _cluster(tmp_path, 1) as cluster:
        folder = ResultsFolder(tmp_path / "out", ORDER)

        def kill_once_some_are_done():
            if len(list((tmp_path / "out").glob("reference/*/*.json"))) == 2:
                cluster.workers[0].kill()

        runner = Cluster(cluster.address, patience_s=0.5, look_every_s=0.5)
        names = named_recordings([str(sets)])
        with pytest.raises(DeviceError, match="no worker for"):
            work_through(names, ORDER, runner, folder, kill_once_some_are_done)
        assert 2 <= len(list((tmp_path / "out").glob("reference/*/*.json"))) < 5


def test_a_recording_that_kills_one_worker_after_the_other_is_named():
    """Dask's own verdict after three of them, and what becomes of it here."""
    killed = distributed.KilledWorker("key", SimpleNamespace(address="tcp://here:1"), 3)
    future = SimpleNamespace(status="error", exception=lambda: killed)
    answer = cluster_module._answer(distributed, future, Task(0, "huge.csv", b"", ("reference",)))
    assert answer.fault.words.startswith("huge.csv: every worker that worked it out died")


def test_workers_with_other_code_are_refused(sets, tmp_path):
    other = Order({**ORDER.versions, "reference": "0" * 64})
    with (
        _cluster(tmp_path, 1) as cluster,
        pytest.raises(InputError, match=r"worker tcp://.* another reference"),
    ):
        work_through([str(sets / "set0.csv")], other, Cluster(cluster.address))


def test_no_scheduler_at_all(sets, capsys, monkeypatch):
    monkeypatch.setattr(cluster_module, "_CONNECT_S", 0.3)
    assert main(["analyse", str(sets), "--scheduler", "tcp://127.0.0.1:9"]) == 3
    err = capsys.readouterr().err
    assert "no scheduler answers there" in err
    assert "Traceback" not in err


@pytest.mark.parametrize("address", ["no scheme://x", "carrier-pigeon://roof:1"])
def test_an_address_that_is_none(sets, capsys, address):
    assert main(["analyse", str(sets), "--scheduler", address]) in (2, 3)
    err = capsys.readouterr().err
    assert f"--scheduler {address}: " in err
    assert "Traceback" not in err


def test_without_dask_it_says_what_to_install(sets, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    assert main(["check", str(sets), "--scheduler", "tcp://127.0.0.1:9"]) == 2
    assert "pip install 'brakebeat[dask]'" in capsys.readouterr().err
