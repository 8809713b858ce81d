"""Edges are on disk as they come: what a full disk, a lost process and a power cut leave of a recording."""

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from brakebeat.cli import main
from brakebeat.errors import InputError
from brakebeat.formats.recording import read_recording
from brakebeat.samples import resolve
from brakebeat.watch.part_file import PartFile, part_of, recover
from tests.full_disk import no_file_longer_than
from tests.watch.test_recorder import connected, edges, recorder_with

HEADER = {"pulses_per_rev": "6", "clock": "5 us was …"}
TIMES = np.arange(1000, 1_001_000, 1000)
NONE = np.zeros(TIMES.size, np.int8)


def part_with_edges(folder: Path) -> PartFile:
    part = PartFile(folder / "set.csv", HEADER)
    for first in range(0, TIMES.size, 50):
        part.add(TIMES[first : first + 50], NONE[:50])
    return part


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_at_any_moment_it_is_a_recording(tmp_path):
    part = PartFile(tmp_path / "set.csv", HEADER)
    assert names(tmp_path) == []
    part.add(np.array([10, 20]), np.array([1, -1], np.int8))
    assert read_recording(part.path).t_us.tolist() == [10, 20]
    part.mark({"edges_lost": "7", "holes_us": "20-90"})
    part.add(np.array([90]), np.array([0], np.int8))
    back = read_recording(part.path)
    assert (back.t_us.tolist(), back.step.tolist()) == ([10, 20, 90], [1, -1, 0])
    assert back.header == {**HEADER, "edges_lost": "7", "holes_us": "20-90"}


def test_as_many_marks_as_a_tape_makes_have_room(tmp_path):
    part = part_with_edges(tmp_path)
    marks = {"edges_lost": "9" * 16 + " or more", "holes_us": " ".join(["9" * 16 + "-" + "9" * 16] * 101)}
    part.mark(marks)
    assert read_recording(part.path).header == {**HEADER, **marks}
    assert read_recording(part.path).t_us.size == TIMES.size


def test_another_recordings_part_file_is_not_written_over(tmp_path):
    part_of(tmp_path / "set.csv").write_text("theirs")
    part = part_with_edges(tmp_path)
    assert part.unwritten == TIMES.size
    assert isinstance(part.trouble, FileExistsError)
    part.discard()
    assert part_of(tmp_path / "set.csv").read_text() == "theirs"


def test_what_found_no_room_is_written_once_there_is_room(tmp_path):
    with no_file_longer_than(5000):
        part = part_with_edges(tmp_path)
        assert 0 < part.unwritten < TIMES.size
    part.add(TIMES[-1:] + 1, NONE[:1])
    assert (part.unwritten, part.trouble) == (0, None)
    assert read_recording(part.path).t_us.tolist() == [*TIMES.tolist(), TIMES[-1] + 1]


# Where the header ends, and for each place in a line: the last whole line is the last one.
@pytest.mark.parametrize("limit_bytes", range(6000, 6009))
def test_a_full_disk_keeps_whole_lines(limit_bytes, tmp_path):
    with no_file_longer_than(limit_bytes):
        part = part_with_edges(tmp_path)
        kept = part.finish({"edges_lost": "3"})
    assert names(tmp_path) == ["set.csv"]
    back = read_recording(tmp_path / "set.csv")
    assert back.t_us.tolist() == TIMES[:kept].tolist()
    assert back.header["edges_lost"] == "3"
    assert limit_bytes - 9 <= (tmp_path / "set.csv").stat().st_size <= limit_bytes


@pytest.mark.parametrize("limit_bytes", [0, 10, 4300])
def test_no_room_for_an_edge_leaves_nothing(limit_bytes, tmp_path):
    head_bytes = part_with_edges(tmp_path).path.stat().st_size - sum(len(f"{t},0\n") for t in TIMES)
    part_of(tmp_path / "set.csv").unlink()
    with no_file_longer_than(min(limit_bytes, head_bytes)):
        part = part_with_edges(tmp_path)
        assert part.unwritten == TIMES.size
        assert part.finish({}) == 0
    assert names(tmp_path) == []


# -- the recorder ----------------------------------------------------------------------------------------------


@pytest.fixture
def temporary(tmp_path, monkeypatch):
    """A folder for temporary files of one's own."""
    folder = tmp_path / "temporary"
    folder.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(folder))
    return folder


async def recorder_of_many(tmp_path):
    recorder = await recorder_with(tmp_path)
    recorder.take(edges(*TIMES.tolist()))
    recorder.take(edges(int(TIMES[-1]) + 50, missing=2))
    return recorder


async def test_a_recording_without_a_fault_leaves_no_part_file(tmp_path):
    recorder = await recorder_of_many(tmp_path)
    assert names(tmp_path) == ["set.csv.part"]
    assert recorder.disk_trouble == ""
    recorder.settle()
    recorder.save()
    assert names(tmp_path) == ["set.csv"]
    assert b"  " not in (tmp_path / "set.csv").read_bytes()


async def test_room_for_one_copy_only_is_enough(tmp_path, monkeypatch):
    recorder = await recorder_of_many(tmp_path)

    def no_room(*_):
        raise InputError("set.csv: cannot be written (No space left on device); choose another place")

    monkeypatch.setattr("brakebeat.watch.recorder.write_recording", no_room)
    recorder.save()
    back = read_recording(tmp_path / "set.csv")
    assert back.t_us.tolist() == [*TIMES.tolist(), TIMES[-1] + 50]
    assert back.header["edges_lost"] == "2"
    assert names(tmp_path) == ["set.csv"]


async def test_a_full_disk_is_told_while_recording_and_what_fits_is_kept(tmp_path, temporary):
    with no_file_longer_than(6000):
        recorder = await recorder_of_many(tmp_path)
        assert recorder.disk_trouble.endswith(" EDGES NOT ON DISK (File too large): make room")
        with pytest.raises(InputError) as refused:
            recorder.save()
    kept = read_recording(tmp_path / "set.csv").t_us
    assert kept.tolist() == TIMES[: kept.size].tolist()
    assert str(refused.value) == (
        f"{tmp_path / 'set.csv'}: cannot be written (File too large): it holds the first {kept.size} of "
        f"{TIMES.size + 1} edges; make room, or record to another disk"
    )
    assert names(temporary) == []


async def test_a_folder_that_went_away_costs_nothing(tmp_path, temporary):
    (tmp_path / "stick").mkdir()
    recorder = await recorder_of_many(tmp_path / "stick")
    shutil.rmtree(tmp_path / "stick")
    with pytest.raises(InputError, match=r"the whole recording is /.*\.csv: move it to a place with room"):
        recorder.save()
    (elsewhere,) = temporary.iterdir()
    assert read_recording(elsewhere).t_us.tolist() == [*TIMES.tolist(), TIMES[-1] + 50]


async def test_the_part_file_lies_beside_the_file_that_a_link_leads_to(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "set.csv").symlink_to("real/other.csv")
    recorder = await recorder_of_many(tmp_path)
    assert names(tmp_path / "real") == ["other.csv.part"]
    recorder.save()
    assert names(tmp_path / "real") == ["other.csv"]
    assert (tmp_path / "set.csv").is_symlink()


async def test_a_board_that_comes_back_goes_on_in_the_same_part_file(tmp_path):
    recorder = await recorder_of_many(tmp_path)
    recorder.take(await connected())
    recorder.take(edges(int(TIMES[-1]) + 60))
    assert read_recording(part_of(tmp_path / "set.csv")).t_us.size == TIMES.size + 2


# -- what is left of one that was killed -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("end", "damaged"),
    [(b"", 0), (b"1001", 4), (b"1001000,0", 9), (b"\0" * 40 + b"\n", 41), (b"5,0\n6,0\n", 8)],
)
def test_what_is_whole_is_recovered(end, damaged, tmp_path, capsys):
    part = part_with_edges(tmp_path)
    with part.path.open("ab") as stream:
        stream.write(end)
    assert main(["record", str(tmp_path / "set.csv"), "--recover"]) == 0
    assert names(tmp_path) == ["set.csv"]
    back = read_recording(tmp_path / "set.csv")
    assert (back.t_us.tolist(), back.header) == (TIMES.tolist(), HEADER)
    first, *more = capsys.readouterr().out.splitlines()
    assert first == (
        f"{tmp_path}/set.csv: 1000 edges in 1.0 s, from {tmp_path}/set.csv.part, which is gone now"
    )
    assert more == (
        [f"the last {damaged} bytes in it were cut off or damaged, and are left out"] * bool(damaged)
    )


@pytest.mark.parametrize(
    "text", [b"", b"# brakebeat-pulses: 1\n# pulses_per_rev: 6\nt_us,step\n", b"\0" * 99]
)
def test_nothing_to_recover(text, tmp_path):
    part_of(tmp_path / "set.csv").write_bytes(text)
    with pytest.raises(InputError, match=r"set\.csv\.part: no edge .*; remove it and record again"):
        recover(tmp_path / "set.csv")
    assert names(tmp_path) == ["set.csv.part"]


def test_no_part_file_to_recover_from(tmp_path, capsys):
    assert main(["record", str(tmp_path / "set.csv"), "--recover"]) == 2
    assert "set.csv.part: cannot be read (No such file or directory)" in capsys.readouterr().err


def test_a_recording_that_is_there_is_not_recovered_over(tmp_path, capsys):
    part = part_with_edges(tmp_path)
    (tmp_path / "set.csv").write_text("mine")
    assert main(["record", str(tmp_path / "set.csv"), "--recover"]) == 2
    assert "set.csv: is there already; choose another name, or --force" in capsys.readouterr().err
    assert part.path.exists()
    assert (tmp_path / "set.csv").read_text() == "mine"


@pytest.mark.parametrize("call", ["record set.csv", "record set.csv --force", "board doctor --keep set.csv"])
def test_an_unfinished_recording_is_told_before_anything_is_done(call, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    part_with_edges(tmp_path)
    before = part_of(tmp_path / "set.csv").read_bytes()
    assert main([*call.split(), "--virtual", "sample:clean"]) == 2
    said = capsys.readouterr().err
    assert "set.csv.part: a recording to set.csv that did not come to its end" in said
    assert "`brakebeat record set.csv --recover` makes a recording of what it holds" in said
    assert part_of(tmp_path / "set.csv").read_bytes() == before


def test_an_unfinished_recording_of_another_name_is_mentioned(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    part_with_edges(tmp_path)
    # Nothing is recorded: there is no such port.
    assert main(["record", "other.csv", "--port", "absent"]) == 3
    assert "set.csv.part is there: unless it is being recorded now, `brakebeat record set.csv --recover`" in (
        capsys.readouterr().err
    )


# -- the command itself, in a process of its own ---------------------------------------------------------------

RECORD = [sys.executable, "-m", "brakebeat", "record", "set.csv", "--virtual", "sample:clean", "--speed"]


def test_a_killed_process_leaves_what_had_come(tmp_path):
    part = part_of(tmp_path / "set.csv")
    with subprocess.Popen([*RECORD, "5"], cwd=tmp_path, stderr=subprocess.DEVNULL) as process:
        while not (part.exists() and read_lines(part) > 200):
            assert process.poll() is None
            time.sleep(0.02)
        process.send_signal(signal.SIGKILL)
    assert names(tmp_path) == ["set.csv.part"]
    recovered = recover(tmp_path / "set.csv")
    played = read_recording(resolve("sample:clean"))
    back = read_recording(tmp_path / "set.csv")
    assert 140 < recovered.edges == back.t_us.size < played.t_us.size
    # The board's clock began elsewhere, by a power-up's time.
    assert np.diff(back.t_us).tolist() == np.diff(played.t_us[: back.t_us.size]).tolist()
    assert "clock" in back.header


def read_lines(path: Path) -> int:
    return path.read_bytes().count(b"\n")


def test_a_disk_that_fills_while_recording(tmp_path):
    """A real disk of 8 KiB, which root may make in a namespace of its own."""
    disk, temporary = tmp_path / "disk", tmp_path / "temporary"
    for folder in (disk, temporary):
        folder.mkdir()
    script = 'mount -t tmpfs -o size=8k none "$1" || exit 77; cd "$1"; shift; "$@"; code=$?; cp set.csv ..; exit $code'
    call = ["unshare", "-rm", "sh", "-c", script, "sh", str(disk), *RECORD, "20"]
    if shutil.which("unshare") is None:
        pytest.skip("there is no unshare to make a small disk with")
    done = subprocess.run(
        call, env={**os.environ, "TMPDIR": str(temporary)}, capture_output=True, text=True, check=False
    )
    if done.returncode in (1, 77) and "brakebeat" not in done.stderr:
        pytest.skip(f"no small disk can be made here: {done.stderr.strip()}")
    assert done.returncode == 2
    played = np.diff(read_recording(resolve("sample:clean")).t_us)
    kept = read_recording(tmp_path / "set.csv").t_us
    assert 300 < kept.size < played.size
    assert np.diff(kept).tolist() == played[: kept.size - 1].tolist()
    (elsewhere,) = temporary.glob("set-*.csv")
    assert np.diff(read_recording(elsewhere).t_us).tolist() == played.tolist()
    assert "EDGES NOT ON DISK (No space left on device): make room" in done.stderr
    assert done.stderr.splitlines()[-1] == (
        "brakebeat record: set.csv: cannot be written (No space left on device): it holds the first "
        f"{kept.size} of {played.size + 1} edges; the whole recording is {elsewhere}: move it to a place with room, "
        "before the computer is switched off"
    )
