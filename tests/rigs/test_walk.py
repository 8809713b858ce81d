"""From no rig file to counted reps: asked, calibrated on simulated recordings, then the firmware over a set."""

import json

import pytest

from brakebeat.cli import main
from brakebeat.formats.recording import write_recording
from brakebeat.formats.rig import read_rig
from brakebeat.simulate import Wheel, default_sensed, preset, sense_fully, spin_down
from brakebeat.simulate.calibrating import falling_mass, slow_pulls

WHEEL = Wheel()
SENSOR = preset("clean", 6, offsets_rad=(0.02, -0.03, 0.01, 0.015, -0.025, 0.01))


def _record(folder, name, motion, seed):
    """What a board would record of a rig that nobody has measured yet: no figures in the header."""
    made = sense_fully(motion, SENSOR, seed).recording
    write_recording(folder / name, made.t_us, made.step, {"pulses_per_rev": "6"})
    return str(folder / name)


def test_from_rig_new_to_counted_reps(tmp_path, capsys):
    rig = str(tmp_path / "rig.toml")
    assert main(["rig", "new", rig, "--yes", "--magnets", "6", "--strap-thickness", "0.0015"]) == 0
    spin = _record(tmp_path, "spin.csv", spin_down(WHEEL, 30), 1)
    pull = _record(tmp_path, "pull.csv", slow_pulls(WHEEL, [0.4] * 3, pause_s=3), 2)
    fall = _record(tmp_path, "fall.csv", falling_mass(WHEEL, 3.0, 1.2), 3)
    steps = [
        ["strap", pull, "--pulled", "0.4", "0.4", "0.4", "--strap-thickness", "0.0015"],
        ["inertia", fall, "--falling-mass", "3.0"],
        ["friction", spin],
        ["magnets", spin],
    ]
    for step in steps:
        assert main(["calibrate", *step, "--rig", rig, "--write", rig, "--yes"]) == 0
    found = read_rig(rig)
    assert found.inertia_kg_m2 == pytest.approx(WHEEL.inertia_kg_m2, rel=0.02)
    assert found.drum_radius_m == pytest.approx(WHEEL.drum_radius_m, rel=0.02)
    assert found.friction_torque_nm == pytest.approx(WHEEL.friction_torque_nm, rel=0.03)
    sensed = default_sensed(4, wheel=WHEEL, sensor=SENSOR)
    made = sensed.recording
    write_recording(tmp_path / "set.csv", made.t_us, made.step, {"pulses_per_rev": "6"})
    capsys.readouterr()
    assert main(["replay", str(tmp_path / "set.csv"), "--rig", rig, "--json"]) == 0
    reps = json.loads(capsys.readouterr().out)["reps"]
    assert len(reps) == len(sensed.truth["reps"])
    assert not any("magnets_stale" in rep["flags"] for rep in reps)
    for rep, true in zip(reps, sensed.truth["reps"], strict=True):
        wanted = true["concentric"]["mean_power_w"]
        assert rep["concentric"]["mean_power_w"] == pytest.approx(wanted, rel=0.05)
