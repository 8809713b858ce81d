"""`brakebeat watch`: what it prints, when it ends, and what it says when Bluetooth does not play along."""

import contextlib
import copy
import json
import os
import re
import signal
import subprocess
import sys
import termios
from types import SimpleNamespace

import pytest
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
)

from brakebeat.board.files import load_wire
from brakebeat.board.replay import replay
from brakebeat.cli import main
from brakebeat.formats.recording import read_recording
from brakebeat.link import words
from brakebeat.link.troubles import words as trouble_words
from brakebeat.results import Cue, PhaseFigures, Rep
from brakebeat.samples import find

VIRTUAL = ["watch", "--virtual", "sample:late", "--speed", "50"]


def test_prints_each_rep_as_it_comes_and_each_beep(capsys):
    assert main(VIRTUAL) == 0
    out = capsys.readouterr().out.splitlines()
    expected = replay(read_recording(find("late")))
    reps = [line for line in out if line.startswith("rep ")]
    assert len(reps) == len(expected.reps)
    for line, rep in zip(reps, expected.reps, strict=True):
        assert f"{rep.peak_rad_s:.2f} rad/s" in line
        assert f"{rep.concentric.mean_power_w:.0f} W" in line
        assert f"{rep.brake_fraction:.2f}" in line
    assert len([line for line in out if line.startswith("beep ")]) == len(expected.cues)
    assert "Keep clear" in out[0]
    assert any(line.startswith("board ") and "firmware" in line for line in out)


def test_stops_after_so_many_reps(capsys):
    assert main([*VIRTUAL, "--reps", "2"]) == 0
    assert len(re.findall("^rep ", capsys.readouterr().out, re.MULTILINE)) == 2


def test_stops_after_so_many_seconds(capsys):
    assert main(["watch", "--virtual", "sample:late", "--seconds", "0.5"]) == 0
    assert "rep " not in capsys.readouterr().out.replace(" reps", "")


def test_json_lines(capsys):
    assert main([*VIRTUAL, "--json-lines"]) == 0
    documents = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    kinds = {document["event"] for document in documents}
    assert kinds == {"Connected", "RepArrived", "CueHeard"}
    reps = [document["rep"] for document in documents if document["event"] == "RepArrived"]
    expected = replay(read_recording(find("late")))
    assert reps == json.loads(json.dumps([rep.to_document() for rep in expected.reps]))


def test_several_boards_at_once_are_told_apart(capsys):
    assert main([*VIRTUAL, "--virtual", "sample:clean"]) == 0
    out = capsys.readouterr().out.splitlines()
    for board, sample in (("Brakebeat-B001", "late"), ("Brakebeat-B002", "clean")):
        told = [line.partition(" | ")[2] for line in out if line.partition(" | ")[0].strip() == board]
        reps = [line for line in told if line.startswith("rep ")]
        expected = replay(read_recording(find(sample))).reps
        assert len(reps) == len(expected)
        for line, rep in zip(reps, expected, strict=True):
            assert f"{rep.peak_rad_s:.2f} rad/s" in line


def test_all_boards_in_reach(capsys):
    arguments = [*VIRTUAL, "--virtual", "sample:clean", "--all", "--scan", "0.5"]
    assert main(arguments) == 0
    out = capsys.readouterr().out
    assert re.search(r"^Brakebeat-B001 +\| connected", out, re.MULTILINE)
    assert re.search(r"^Brakebeat-B002 +\| connected", out, re.MULTILINE)


def test_the_reference_is_asked_at_each_rep(capsys):
    assert main(["watch", "--virtual", "sample:late", "--speed", "8", "--check", "--json-lines"]) == 0
    documents = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    checked = [document for document in documents if document["event"] == "RepChecked"]
    expected = replay(read_recording(find("late")))
    assert [document["index"] for document in checked] == [rep.index for rep in expected.reps]
    assert all(document["reference"] is not None for document in checked)
    for document, rep in zip(checked, expected.reps, strict=True):
        assert abs(document["reference"]["peak_rad_s"] / rep.peak_rad_s - 1) < 0.015


def test_a_rig_file_of_another_wheel_is_refused_by_the_reference(tmp_path, capsys):
    rig = tmp_path / "rig.toml"
    rig.write_text("pulses_per_rev = 0\n")
    assert main([*VIRTUAL, "--check", "--rig", str(rig)]) == 2
    assert "rig.toml:1: pulses_per_rev = 0" in capsys.readouterr().err


def test_a_live_table_on_a_terminal():
    """On a pty: a table that is drawn over, with words for what colours say; the last state stays."""
    master, slave = os.openpty()
    termios.tcsetwinsize(slave, (40, 140))
    environment = os.environ | {"TERM": "xterm-256color"}
    command = [sys.executable, "-m", "brakebeat", *VIRTUAL]
    with subprocess.Popen(command, stdout=slave, stderr=slave, env=environment) as process:
        os.close(slave)
        shown = b""
        with contextlib.suppress(OSError):
            while chunk := os.read(master, 65536):
                shown += chunk
    os.close(master)
    assert process.returncode == 0
    assert b"\x1b[1A" in shown
    text = re.sub(rb"\x1b\[[0-9;?]*[A-Za-z]", b"", shown).decode()
    last = text[text.rindex("Brakebeat-B001") :]
    for rep in replay(read_recording(find("late"))).reps:
        assert f"{rep.peak_rad_s:.2f}" in last
    assert "LATE" in last
    assert "DROPPED" in last


def test_cpython_is_said_where_it_stands_in(capsys, monkeypatch):
    monkeypatch.setattr("brakebeat.board.engine.micropython_command", lambda: None)
    assert main([*VIRTUAL, "--reps", "1"]) == 0
    captured = capsys.readouterr()
    assert "the firmware runs on CPython" in captured.err
    assert "on cpython" in captured.out


@pytest.mark.parametrize(
    "arguments",
    [
        ["watch", "--speed", "2"],
        ["watch", "--virtual", "nowhere.csv"],
        ["watch", "--virtual", "sample:lat"],
        ["watch", "--rig", "rig.toml"],
        ["watch", "--all", "--name", "barn wheel"],
        ["watch", "--name", "barn wheel", "--name", "barn wheel"],
    ],
)
def test_a_wrong_call_is_exit_code_2(arguments, capsys):
    assert main(arguments) == 2
    assert "Traceback" not in capsys.readouterr().err


@pytest.mark.parametrize("option", ["--seconds", "--reps", "--speed", "--scan"])
@pytest.mark.parametrize("value", ["0", "-1", "nan", "soon"])
def test_numbers_that_are_none(option, value, capsys):
    with pytest.raises(SystemExit) as stopped:
        main(["watch", option, value])
    assert stopped.value.code == 2
    assert option in capsys.readouterr().err


def test_interrupted_by_the_keyboard():
    """Ctrl-C ends it at once, without a traceback and without a firmware left running."""
    command = [sys.executable, "-m", "brakebeat", "watch", "--virtual", "sample:late", "--speed", "5"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        for line in process.stdout:
            if line.startswith("rep "):
                break
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate()
    assert process.returncode == 130
    assert "Traceback" not in errors


# -- troubles ------------------------------------------------------------------------------------------------

REASON = BleakBluetoothNotAvailableReason
TROUBLES = [
    (BleakBluetoothNotAvailableError("", REASON.NO_BLUETOOTH), "no Bluetooth adapter found"),
    (BleakBluetoothNotAvailableError("", REASON.POWERED_OFF), "Bluetooth is off"),
    (BleakBluetoothNotAvailableError("", REASON.DENIED_BY_USER), "no permission"),
    (BleakBluetoothNotAvailableError("", REASON.DENIED_BY_SYSTEM), "no permission"),
    (BleakDBusError("org.freedesktop.DBus.Error.AccessDenied", []), "no permission"),
    (BleakDBusError("org.freedesktop.DBus.Error.ServiceUnknown", []), "does not run; start it"),
    (BleakDBusError("org.bluez.Error.NotReady", []), "Bluetooth is off"),
    (BleakDBusError("org.bluez.Error.AuthenticationFailed", []), "hold the button on the board"),
    (BleakDBusError("org.bluez.Error.AuthenticationTimeout", []), "hold the button on the board"),
    (BleakDBusError("org.bluez.Error.Failed", ["br-connection-canceled"]), "br-connection-canceled"),
    (PermissionError(13, "Permission denied"), "no permission"),
    (FileNotFoundError(2, "No such file"), "install and start BlueZ"),
    (TimeoutError(), "did not answer in time"),
    (BleakError("something new"), "something new"),
]


@pytest.mark.parametrize(("error", "expected"), TROUBLES, ids=lambda value: str(value)[:40])
def test_each_trouble_has_words_and_exit_code_3(error, expected, capsys, monkeypatch):
    class Scanner:
        def __init__(self, *_arguments, **_options):
            pass

        async def __aenter__(self):
            raise error

        async def __aexit__(self, *_error):
            pass

    monkeypatch.setattr("brakebeat.link.finder.BleakScanner", Scanner)
    assert main(["watch"]) == 3
    captured = capsys.readouterr()
    assert expected in captured.err
    assert "Traceback" not in captured.err


def test_every_reason_that_bleak_knows_has_words():
    for reason in REASON:
        assert trouble_words(BleakBluetoothNotAvailableError("raw", reason)) != "raw"
    assert "not in reach" in trouble_words(BleakDeviceNotFoundError("AA"))


def test_not_found(capsys):
    assert main([*VIRTUAL, "--name", "cellar wheel", "--scan", "0.3"]) == 3
    error = capsys.readouterr().err
    assert "'cellar wheel' was not found within 0.3 s; in reach: Brakebeat-B001" in error


def test_a_board_of_another_version(capsys, monkeypatch):
    monkeypatch.setattr(load_wire(), "PROTOCOL_VERSION", 3)
    assert main(VIRTUAL) == 3
    assert (
        "speaks protocol version 2, this computer 3; install this version's firmware"
        in capsys.readouterr().err
    )
    monkeypatch.setattr(load_wire(), "PROTOCOL_VERSION", 1)
    assert main(VIRTUAL) == 3
    assert "update brakebeat on this computer" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("missing", "expected"),
    [
        ("SERVICE_UUID", "is no Brakebeat board: its service is missing"),
        ("CONTROL_UUID", "its firmware lacks control"),
    ],
)
def test_a_device_that_is_no_board_of_ours(missing, expected, capsys, monkeypatch):
    altered = SimpleNamespace(**copy.copy(vars(load_wire())))
    setattr(altered, missing, "00000000-0000-4000-8000-000000000000")
    monkeypatch.setattr("brakebeat.link.ble.load_wire", lambda: altered)
    assert main(VIRTUAL) == 3
    assert expected in capsys.readouterr().err


# -- lines ---------------------------------------------------------------------------------------------------


def make_rep(**values):
    figures = {"index": 0, "momentum": False, "start_us": 0, "extension_us": 1, "end_us": 2, "peak_us": 1}
    figures |= {"peak_rad_s": 61.234, "concentric_rad": 40.0, "eccentric_rad": 40.0}
    return Rep(**(figures | values))


def test_a_rep_in_one_line():
    rep = make_rep(
        index=11,
        brake_fraction=0.456,
        brake_timing="late",
        concentric=PhaseFigures(mean_power_w=412.4),
        eccentric=PhaseFigures(mean_power_w=455.1),
    )
    assert words.rep_line(rep, [Cue(5, 11, "late"), Cue(6, 11, "set_done")]) == (
        "rep  12    peak  61.23 rad/s ( 585 rpm)  con  412 W  ecc  455 W  "
        "brake 0.46 LATE      cue late, set done"
    )


def test_a_rep_of_which_little_is_known():
    line = words.rep_line(make_rep(momentum=True, flags=["few_edges"]), [])
    assert line == (
        "rep   1 m  peak  61.23 rad/s ( 585 rpm)  con    -    ecc    -    "
        "brake   -  unknown   cue -  [few_edges]"
    )


def test_lines_are_aligned():
    lines = [
        words.rep_line(make_rep(index=index, brake_timing=timing, brake_fraction=fraction), [])
        for index, timing, fraction in [
            (0, "early", 0.1),
            (99, "none", None),
            (5, None, None),
            (7, "inside", 0.25),
        ]
    ]
    assert len({line.index("cue") for line in lines}) == 1
