"""The hardware notes' walk from no rig file to counted reps, line by line as it stands there, without hardware.

`install` talks to the MicroPython VM at its own prompt behind a pty; what is live comes from the board's firmware on
the virtual radio, which plays what a hand would do.
"""

import io
import json
import shlex
from pathlib import Path

import pytest

from brakebeat.board.engine import micropython_command
from brakebeat.cli import main
from brakebeat.formats.recording import write_recording
from brakebeat.formats.rig import read_rig
from brakebeat.simulate import Wheel, default_sensed, preset, sense_fully, spin_down
from brakebeat.simulate.calibrating import falling_mass, slow_pulls
from tests.install.board import Board, files_on

WHEEL = Wheel()
SENSOR = preset("clean", 6, offsets_rad=(0.02, -0.03, 0.01, 0.015, -0.025, 0.01))
NOTES = Path(__file__).resolve().parents[2] / "hardware_notes/README.md"
# Name, board, hall switch, magnets, then what is offered: pins of the drawing; nothing measured but the strap.
ANSWERS = ["barn wheel", "pico w", "", "6", "", "", "", "", "", "", "", "", "1.5 mm", "", "", "", ""]


class _Typed(io.StringIO):
    def isatty(self):
        return True


def walk():
    """The lines of the walk, each as its words after `brakebeat`."""
    text = NOTES.read_text(encoding="utf-8").split("## From nothing to the first rep")[1].split("```")[1]
    return [shlex.split(line)[1:] for line in text.splitlines() if line.strip().startswith("brakebeat ")]


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    """What the wheel does at each live line: a rig that nobody has measured yet, no figures in the header."""
    folder = tmp_path_factory.mktemp("played")

    def made(motion, seed):
        return sense_fully(motion, SENSOR, seed).recording

    recordings = {
        "doctor": made(spin_down(WHEEL, 30), 5),
        "magnets": made(spin_down(WHEEL, 30), 1),
        "strap": made(slow_pulls(WHEEL, [0.3] * 8, pause_s=3), 2),
        "inertia": made(falling_mass(WHEEL, 3.0, 1.2), 3),
        "watch": default_sensed(4, wheel=WHEEL, sensor=SENSOR).recording,
    }
    for name, recording in recordings.items():
        write_recording(folder / f"{name}.csv", recording.t_us, recording.step, {"pulses_per_rev": "6"})
    return folder


def without_hardware(words, played, port):
    """The line with a board that plays instead of one on a wheel, and nobody to ask."""
    words = list(words)
    if words[:2] == ["board", "install"]:
        return [*words, "--port", port]
    kind = words[1] if words[0] == "calibrate" else words[-2] if words[0] == "board" else words[0]
    virtual = ["--virtual", str(played / f"{kind}.csv"), "--speed", "20"]
    if "--live" in words:
        words.remove("--live")
        words += virtual
    elif words == ["watch"]:
        words += [*virtual, "--json-lines"]
    return [*words, "--yes"] if "--write" in words else words


@pytest.mark.skipif(micropython_command() is None, reason="no `micropython` command is installed")
def test_the_walk_from_rig_new_to_counted_reps(tmp_path, played, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    lines = walk()
    assert [words[0] for words in lines] == ["rig", "board", "board", *["calibrate"] * 4, "board", "watch"]
    with Board(tmp_path / "flash") as board:
        for words in lines:
            typed = ANSWERS if words == ["rig", "new"] else []
            stdin = _Typed("".join(f"{answer}\n" for answer in typed))
            monkeypatch.setattr("sys.stdin", stdin)
            capsys.readouterr()
            assert main(without_hardware(words, played, board.port)) == 0, capsys.readouterr().err
            # Each answer was asked for, and no more.
            assert not stdin.read()
    events = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    truth = default_sensed(4, wheel=WHEEL, sensor=SENSOR).truth["reps"]
    assert len([event for event in events if event["event"] == "RepArrived"]) == len(truth)
    found = read_rig("rig.toml")
    assert (found.board.sensor_pin, found.board.buzzer_pin, found.board.button_pin) == (14, 16, 19)
    assert found.inertia_kg_m2 == pytest.approx(WHEEL.inertia_kg_m2, rel=0.01)
    assert found.drum_radius_m == pytest.approx(WHEEL.drum_radius_m, rel=0.005)
    assert found.friction_torque_nm == pytest.approx(WHEEL.friction_torque_nm, rel=0.03)
    # The board has it without the comments.
    (tmp_path / "on_board.toml").write_bytes(files_on(tmp_path / "flash")["rig.toml"])
    assert read_rig("on_board.toml") == found
    # With what was found the board gives the set's power.
    assert main(["replay", str(played / "watch.csv"), "--rig", "rig.toml", "--json"]) == 0
    reps = json.loads(capsys.readouterr().out)["reps"]
    assert not any("magnets_stale" in rep["flags"] for rep in reps)
    for rep, true in zip(reps, truth, strict=True):
        wanted = true["concentric"]["mean_power_w"]
        assert rep["concentric"]["mean_power_w"] == pytest.approx(wanted, rel=0.03)
