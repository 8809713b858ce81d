"""`scan`, `record`, `fetch` and `set` as someone calls them: on virtual boards, and where things are wrong."""

import json
import re
import signal
import subprocess
import sys

import pytest

from brakebeat.board.replay import replay
from brakebeat.cli import main
from brakebeat.formats.recording import read_recording
from brakebeat.formats.rig import Rig, read_rig, write_rig
from brakebeat.samples import find

LATE = ["--virtual", "sample:late"]
FAST = [*LATE, "--speed", "20"]


def refused(capsys, arguments, code=2):
    """What a refused call says on standard error."""
    assert main(arguments) == code
    streams = capsys.readouterr()
    assert "Traceback" not in streams.err
    assert f"brakebeat {arguments[0]}: " in streams.err
    return streams.err


# -- scan ----------------------------------------------------------------------------------------------------


def test_scan_lists_what_is_in_reach(capsys):
    assert main(["scan", *LATE, "--virtual", "sample:clean", "--seconds", "0.5"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[:2] for line in sorted(lines)] == [
        ["Brakebeat-B001", "F0:0D:00:00:B0:01"],
        ["Brakebeat-B002", "F0:0D:00:00:B0:02"],
    ]
    assert "dBm" in lines[0]


def test_scan_in_one_document(capsys):
    assert main(["scan", *LATE, "--seconds", "0.5", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document == {
        "schema": 1,
        "boards": [{"name": "Brakebeat-B001", "address": "F0:0D:00:00:B0:01", "rssi_dbm": -50}],
        "ports": [],
    }


def test_scan_without_bluetooth_shows_ports_all_the_same(capsys, monkeypatch):
    from brakebeat.errors import DeviceError
    from brakebeat.link.serial_port import Port

    async def no_bluetooth(_seconds):
        raise DeviceError("looking for a board: Bluetooth is off; switch it on and try again")

    monkeypatch.setattr("brakebeat.link.finder.scan", no_bluetooth)
    monkeypatch.setattr("brakebeat.link.serial_port.usb_ports", lambda: [])
    assert "Bluetooth is off" in refused(capsys, ["scan"], code=3)
    monkeypatch.setattr(
        "brakebeat.link.serial_port.usb_ports", lambda: [Port("/dev/ttyACM0", "Board in FS mode")]
    )
    assert main(["scan"]) == 0
    streams = capsys.readouterr()
    assert "--port /dev/ttyACM0  Board in FS mode" in streams.out
    assert "Bluetooth is off" in streams.err


# -- record --------------------------------------------------------------------------------------------------


def test_record_is_the_source_edge_for_edge(tmp_path, capsys):
    path = tmp_path / "set.csv"
    assert main(["record", str(path), *FAST]) == 0
    source, made = read_recording(find("late")), read_recording(path)
    assert made.t_us.tolist() == source.t_us.tolist()
    assert made.step.tolist() == source.step.tolist()
    assert made.rig == source.rig.model_copy(update={"name": None})
    assert "edges_lost" not in made.header
    streams = capsys.readouterr()
    assert f"{path}: {len(source.t_us)} edges in " in streams.out
    assert "INCOMPLETE" not in streams.out
    assert "Keep clear" in streams.err
    assert replay(made).reps == replay(source).reps


def test_record_with_a_rig_file_stops_after_so_many_reps(tmp_path):
    path, rig_path = tmp_path / "set.csv", tmp_path / "rig.toml"
    write_rig(rig_path, Rig(pulses_per_rev=6, inertia_kg_m2=0.3))
    assert main(["record", str(path), *FAST, "--rig", str(rig_path), "--reps", "2"]) == 0
    assert read_recording(path).header["inertia_kg_m2"] == "0.3"


def test_record_never_writes_over_a_file_unless_told_to(tmp_path, capsys):
    path = tmp_path / "set.csv"
    path.write_text("precious")
    assert "is there already; choose another name, or --force" in refused(
        capsys, ["record", str(path), *FAST]
    )
    assert path.read_text() == "precious"
    assert main(["record", str(path), *FAST, "--force", "--reps", "1"]) == 0
    assert path.read_text().startswith("# brakebeat-pulses: 1\n")


def test_record_where_nothing_moves_writes_nothing(tmp_path, capsys):
    path = tmp_path / "set.csv"
    arguments = ["record", str(path), *LATE, "--speed", "0.001", "--seconds", "1.5"]
    assert "no edge has come" in refused(capsys, arguments, code=3)
    assert list(tmp_path.iterdir()) == []


def test_record_is_ended_by_the_keyboard_and_kept(tmp_path):
    path = tmp_path / "set.csv"
    command = [sys.executable, "-m", "brakebeat", "record", str(path), *LATE, "--speed", "0.2"]
    # Where it is no terminal a line comes every 5 s, and one of it tells that edges have come.
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        for line in process.stderr:
            if re.search(r" [1-9][0-9]* edges", line):
                break
        process.send_signal(signal.SIGINT)
        out, errors = process.communicate()
    assert process.returncode == 0
    assert "Traceback" not in errors
    assert "edges in" in out
    assert 0 < read_recording(path).t_us.size < read_recording(find("late")).t_us.size


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nowhere/set.csv", *LATE], "nowhere: no such folder; make it first"),
        (["set.csv", "--rig", "absent.toml", *LATE], "absent.toml: cannot be read"),
        (["set.csv", "--virtual", "absent.csv"], "absent.csv"),
        (["set.csv", "--name", "a", "--name", "b"], "one board at a time"),
        (["set.csv", "--speed", "2"], "--speed: only with --virtual"),
    ],
)
def test_record_called_wrongly(arguments, words, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert words in refused(capsys, ["record", *arguments])
    assert list(tmp_path.iterdir()) == []


# -- fetch ---------------------------------------------------------------------------------------------------


def test_fetch_prints_what_was_pulled_while_nobody_listened(capsys):
    assert main(["fetch", *LATE, "--speed", "100"]) == 0
    lines = capsys.readouterr().out.splitlines()
    expected = replay(read_recording(find("late"))).reps
    assert len(lines) == len(expected)
    for number, (line, rep) in enumerate(zip(lines, expected, strict=True)):
        assert line.split()[0] == str(number)
        assert f"{rep.peak_rad_s:.2f} rad/s" in line


def test_fetch_from_a_number_in_one_document(capsys):
    assert main(["fetch", *LATE, "--speed", "100", "--from", "5", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    expected = replay(read_recording(find("late"))).reps
    assert [rep["sequence"] for rep in document["reps"]] == list(range(5, len(expected)))
    theirs = json.loads(json.dumps([rep.to_document() for rep in expected[5:]]))
    assert [rep["rep"] for rep in document["reps"]] == theirs
    assert document["board"] == "Brakebeat-B001"


def test_fetch_into_a_file(tmp_path, capsys):
    path = tmp_path / "reps.jsonl"
    assert main(["fetch", *LATE, "--speed", "100", "--out", str(path)]) == 0
    assert len(path.read_text().splitlines()) == 8
    assert f"{path}: 8 new reps from Brakebeat-B001, 8 in all" in capsys.readouterr().out


def test_fetch_beyond_the_journal(capsys):
    error = refused(capsys, ["fetch", *LATE, "--speed", "100", "--from", "5000"], code=3)
    assert "does not reach to record 5000; the next one will be 8" in error


def test_fetch_leaves_another_file_alone(tmp_path, capsys):
    path = tmp_path / "notes.txt"
    path.write_text("buy rope\n")
    assert "notes.txt:1: no fetched rep" in refused(capsys, ["fetch", *LATE, "--out", str(path)])
    assert path.read_text() == "buy rope\n"


# -- set -----------------------------------------------------------------------------------------------------


@pytest.fixture
def rig_path(tmp_path):
    path = tmp_path / "rig.toml"
    write_rig(path, Rig(pulses_per_rev=6, name="barn wheel"))
    return path


def test_set_puts_a_rig_file_onto_the_board(rig_path, capsys):
    before = rig_path.read_bytes()
    assert main(["set", "--rig", str(rig_path), *LATE, "--speed", "100"]) == 0
    assert "brake window 0.15 to 0.35 of the way back; the board has taken" in capsys.readouterr().out
    assert rig_path.read_bytes() == before


@pytest.mark.parametrize(
    ("options", "window"),
    [
        (["--target", "0.4", "--tolerance", "0.05"], (0.4, 0.05)),
        (["--target", "0.3"], (0.3, 0.1)),
        (["--preset", "last_third"], (0.7, 0.07)),
    ],
)
def test_set_changes_the_window_here_and_there(options, window, rig_path):
    assert main(["set", "--rig", str(rig_path), *options, *LATE, "--speed", "100"]) == 0
    rig = read_rig(rig_path)
    assert (rig.brake_target, rig.brake_tolerance) == window
    assert rig.name == "barn wheel"


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--preset", "last_half"], "known are first_quarter, last_third"),
        (["--preset", "last_third", "--target", "0.3"], "not both"),
        (["--tolerance", "0.9"], "brake_tolerance = 0.9: must be a number from 0 to 0.5"),
    ],
)
def test_set_called_wrongly_changes_nothing(options, words, rig_path, capsys):
    before = rig_path.read_bytes()
    assert words in refused(capsys, ["set", "--rig", str(rig_path), *options, *FAST])
    assert rig_path.read_bytes() == before


def test_set_that_the_board_refuses_leaves_the_file_alone(rig_path, capsys, monkeypatch):
    from brakebeat.link.control import CommandError, refusal

    async def refuse(_connection, _text, **_callbacks):
        raise CommandError(refusal("barn wheel", 3), 3)

    monkeypatch.setattr("brakebeat.link.rig_transfer.send_rig", refuse)
    before = rig_path.read_bytes()
    error = refused(
        capsys, ["set", "--rig", str(rig_path), "--target", "0.4", *LATE, "--speed", "100"], code=3
    )
    assert "Hold the button on the board" in error
    assert rig_path.read_bytes() == before
