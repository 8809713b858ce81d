"""The demo from end to end: firmware, virtual radio, bleak client, check, picture."""

import json
import os
import re
import subprocess
import sys

import numpy as np
import pytest
from PIL import Image

from brakebeat.board import replay
from brakebeat.board.engine import micropython_command
from brakebeat.cli import main
from brakebeat.formats.recording import read_recording


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """What a quick run printed, and its folder. A process of its own: no terminal, no display."""
    folder = tmp_path_factory.mktemp("demo") / "out"
    call = [sys.executable, "-m", "brakebeat", "demo", "--speed", "10", "--out", str(folder)]
    done = subprocess.run(call, capture_output=True, encoding="utf-8", check=False, env=_environment())
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout, folder


def _environment():
    hidden = ("DISPLAY", "WAYLAND_DISPLAY", "MPLBACKEND", "PYTHONIOENCODING")
    return {name: value for name, value in os.environ.items() if name not in hidden} | {"PYTHONUTF8": "1"}


def test_every_rep_is_printed_as_it_comes(shown):
    lines = [line for line in shown[0].splitlines() if re.match(r"rep +\d", line)]
    assert [int(line.split()[1]) for line in lines] == list(range(1, 9))
    assert all("rad/s" in line and "rpm" in line for line in lines)


def test_beeps_are_the_two_late_brakes_and_the_drop_off(shown):
    beeps = [line.strip() for line in shown[0].splitlines() if "♪" in line]
    assert beeps == [
        "♪ beep: brake came late (rep 5)",
        "♪ beep: brake came late (rep 7)",
        "♪ beep: effort has dropped off (rep 8)",
    ]


def test_it_says_what_it_runs_on_and_warns(shown):
    assert "Caution" in shown[0]
    expected = "the MicroPython VM" if micropython_command() else "CPython (no MicroPython VM"
    assert f"The firmware runs on {expected}" in shown[0]


def test_agreement_and_verdict_are_printed(shown):
    assert "95 % limits" in shown[0]
    assert "verdict: pass" in shown[0]


def test_picture_is_there_and_has_something_on_it(shown):
    text, folder = shown
    assert f"picture: {folder / 'set.png'}" in text
    with Image.open(folder / "set.png") as picture:
        picture.verify()
    with Image.open(folder / "set.png") as picture:
        pixels = np.asarray(picture.convert("RGB")).reshape(-1, 3)
    assert len(np.unique(pixels, axis=0)) > 500
    assert 0.1 < (pixels != 255).any(axis=1).mean() < 0.9


def test_the_radio_carried_what_a_replay_gives(shown):
    folder = shown[1]
    received = json.loads((folder / "received.json").read_text())
    replayed = replay(read_recording(folder / "set.csv")).to_document()
    assert received["reps"] == replayed["reps"]
    assert received["cues"] == replayed["cues"]
    assert received["sets"] == replayed["sets"] == [{"first": 0, "last": 7}]


def test_truth_agrees_with_what_was_heard(shown):
    truth = json.loads((shown[1] / "truth.json").read_text())["reps"]
    assert [rep["index"] for rep in truth if rep["brake_timing"] == "late"] == [4, 6]
    best = max(rep["peak_rad_s"] for rep in truth)
    dropped = [rep["index"] for rep in truth if not rep["momentum"] and rep["peak_rad_s"] < 0.9 * best]
    assert dropped == [7]


def test_cpython_runs_the_same_firmware(tmp_path, capsys):
    out = tmp_path / "out"
    code = main(["demo", "--engine", "cpython", "--speed", "10", "--json", "--out", str(out)])
    streams = capsys.readouterr()
    document = json.loads(streams.out)
    assert code == 0
    assert "The firmware runs on CPython (as asked)." in streams.err
    assert document["received"]["engine"] == "cpython"
    assert len(document["received"]["reps"]) == 8
    assert document["check"]["verdict"] == "pass"
    assert document["picture"] == str(out / "set.png")


def test_a_taken_place_is_left_alone(tmp_path, capsys):
    (tmp_path / "set.csv").write_text("mine")
    assert main(["demo", "--out", str(tmp_path)]) == 2
    assert "set.csv" in capsys.readouterr().err
    assert (tmp_path / "set.csv").read_text() == "mine"


@pytest.mark.parametrize("speed", ["0", "-1", "nan", "fast", "1e9"])
def test_speed_must_make_sense(speed, capsys):
    with pytest.raises(SystemExit) as ended:
        main(["demo", "--speed", speed])
    assert ended.value.code == 2
    assert "--speed" in capsys.readouterr().err
