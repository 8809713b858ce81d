"""Brake onsets of athletes who yield before they brake, from phases made up for the purpose."""

import numpy as np
import pytest

from brakebeat.formats.rig import Rig
from brakebeat.reference.figures.onset import find_onset
from brakebeat.reference.figures.phases import Phase
from brakebeat.reference.rig_physics import Physics

PEAK_RAD_S2 = 100.0


def onset_s(yields, ripple=0.0, ramp_s=0.1):
    """Of a wheel held at a part of the peak until 0.3 s after φ = 0, with a ripple as splines have it."""
    t_s = np.linspace(0.0, 0.6, 601)
    grown = np.clip((t_s - 0.3) / ramp_s, 0.0, 1.0)
    braking = PEAK_RAD_S2 * (yields + (1.0 - yields) * grown + ripple * np.sin(2.0 * np.pi * t_s / 0.05))
    speed = 60.0 - np.append(0.0, np.cumsum(0.5 * (braking[1:] + braking[:-1]) * np.diff(t_s)))
    angle = np.append(0.0, np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(t_s)))
    rig = Rig(pulses_per_rev=6, inertia_kg_m2=0.1, drum_radius_m=0.02)
    return find_onset(Phase(t_s, angle, speed, -braking, -1), Physics(rig))


@pytest.mark.parametrize("ripple", [0.0, 0.04])
def test_who_holds_the_wheel_from_the_extension_on_brakes_from_there_on(ripple):
    # By the last dip of a rippling spline below a tenth it was 0.1 to 0.3 of the range late.
    assert onset_s(0.13, ripple).t_s < 0.03
    assert onset_s(0.13, ripple).held


@pytest.mark.parametrize("ripple", [0.0, 0.04])
def test_who_yields_less_than_a_tenth_brakes_once_he_brakes(ripple):
    # By the first bump of a rippling spline above a tenth it would be as much too early.
    found = onset_s(0.07, ripple)
    assert found.t_s == pytest.approx(0.303, abs=0.03)
    assert not found.held


def test_a_slow_brake_is_not_taken_for_yielding():
    found = onset_s(0.0, ramp_s=0.28)
    assert found.t_s == pytest.approx(0.328, abs=0.005)
    assert not found.held
