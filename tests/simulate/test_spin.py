"""The wheel spun by hand: friction alone sets how long it runs."""

from __future__ import annotations

import math

import numpy as np
import pytest

from brakebeat.errors import InputError
from brakebeat.simulate import Wheel, preset, sense_fully, spin_down


@pytest.mark.parametrize("sense", [1, -1])
def test_runs_out_as_friction_has_it(sense: int) -> None:
    """I·dω/dt = −c − vω has the time to rest I/v·ln(1 + vω/c)."""
    wheel = Wheel(0.1, friction_torque_nm=0.12, friction_viscous_nm_s=0.002)
    motion = spin_down(wheel, 50.0, sense=sense)
    run = motion.stretches[-2]
    expected_s = 0.1 / 0.002 * math.log(1.0 + 0.002 * 50.0 / 0.12)
    assert run.t_s[-1] - run.t_s[0] == pytest.approx(expected_s, rel=1e-7)
    assert (sense * motion.speed_rad_s(np.linspace(0.0, motion.end_s, 999)) >= -1e-9).all()
    assert motion.speed_rad_s(run.t_s[0]) == pytest.approx(sense * 50.0)


def test_offsets_can_be_read_from_it() -> None:
    """Edge angles on the motion, less even spacing, are the truth's offsets in the truth's order."""
    motion = spin_down(Wheel(), 40.0, sense=-1)
    sensed = sense_fully(motion, preset("perfect", 8, placement_rad=0.02), 3)
    angle = -motion.angle_rad(sensed.recording.t_us[:800] * 1e-6)
    residue = (angle - np.arange(800) * 2.0 * math.pi / 8).reshape(-1, 8).mean(axis=0)
    assert residue - residue.mean() == pytest.approx(sensed.truth["magnet_offsets_rad"], abs=5e-5)
    assert sensed.truth["reps"] == []
    assert sensed.truth["incomplete"] == 0


def test_a_wheel_without_friction_is_told() -> None:
    with pytest.raises(InputError, match="still turns"):
        spin_down(Wheel(friction_torque_nm=0.0, friction_viscous_nm_s=0.0), 10.0)
