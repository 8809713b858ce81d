"""A wheel out of balance: gravity speeds it up and slows it down once a turn, as misplaced magnets seem to."""

import numpy as np
import pytest

from brakebeat.calibrate.magnets import calibrate_magnets
from brakebeat.simulate import Motion, Stretch, Wheel, preset, sense_fully
from brakebeat.simulate.dynamics import integrate
from tests.calibrate.made import DEGREE_RAD


def _run_out(swing_rad_s2, seed):
    """Free from 28 rad/s on; 50 g at 0.2 m on 0.12 kg·m² would swing by 0.8 rad/s²."""
    wheel, at = Wheel(), np.random.default_rng(seed).uniform(0, 2 * np.pi)
    free = integrate(
        wheel,
        lambda _, angle, __: swing_rad_s2 * wheel.inertia_kg_m2 * np.cos(angle + at),
        (0.0, 0.0, 28.0),
        until="rest",
        knot_s=0.005,
        chunk_s=20.0,
    )
    stretch = Stretch("run_out", free.t_s, free.angle_rad, free.speed_rad_s, 0 * free.torque_nm, 1)
    return sense_fully(Motion(wheel, [stretch]), preset("clean", 6, placement_rad=0.03), seed)


@pytest.mark.parametrize("swing_rad_s2", [0.05, 0.3])
def test_offsets_do_not_take_the_swing_for_placement(swing_rad_s2):
    for seed in range(3):
        sensed = _run_out(swing_rad_s2, seed)
        found = calibrate_magnets(sensed.recording)
        assert "unbalanced" in found.flags
        error = np.abs(np.array(found.estimate["offsets_rad"]) - sensed.truth["magnet_offsets_rad"])
        assert error.max() < 0.02 * DEGREE_RAD
        assert (error <= 2 * np.array(found.uncertainty["offsets_rad"])).mean() > 0.8


def test_a_balanced_wheel_is_not_flagged():
    for seed in range(4):
        assert "unbalanced" not in calibrate_magnets(_run_out(0.0, seed).recording).flags
