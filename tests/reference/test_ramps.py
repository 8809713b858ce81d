"""Brake onsets from ramps fitted to edges: right on a ramp of their own kind, fair on others, bounded in dirt."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from brakebeat.bench.accuracy_table.conditions import CONDITIONS
from brakebeat.reference import analyse
from brakebeat.reference.figures import ramp
from brakebeat.reference.figures.onset import Onset
from brakebeat.reference.turnaround.gist import jerk_covariance

PEAK_RAD_S2 = 80.0
SHARE = 0.1


def onset_found(begun, length, grows, sigma_rad):
    """What is found where a wheel at 30 rad/s is braked by a torque that ``grows`` (0 to 1) from ``begun`` on."""
    x = np.linspace(-0.2, begun + length + 0.03, 40)
    fine = np.linspace(x[0], x[-1], 20_001)
    accel = -PEAK_RAD_S2 * grows(np.clip((fine - begun) / length, 0.0, 1.0))
    step = fine[1] - fine[0]
    angle = 30.0 * (fine - fine[0]) + np.cumsum(np.cumsum(accel) * step) * step
    whiten = np.eye(len(x)) / sigma_rad
    return ramp._over_all(x, np.interp(x, fine, angle), whiten, PEAK_RAD_S2, Onset(0.0, 0.0, 1.0))


@given(st.floats(-0.05, 0.05), st.floats(0.05, 0.3))
def test_a_cosine_ramp_is_found_where_it_passes_a_tenth(begun, length):
    mean, sd = onset_found(begun, length, lambda part: 0.5 - 0.5 * np.cos(np.pi * part), 1e-3)
    true = begun + length * np.arccos(1.0 - 2.0 * SHARE) / np.pi
    # Beginnings are tried every 7.5 ms.
    assert mean == pytest.approx(true, abs=max(3.0 * sd, 0.0075))
    assert sd < 0.02


@given(st.floats(-0.05, 0.05), st.floats(0.05, 0.2))
def test_a_straight_ramp_is_found_nearly_so(begun, length):
    mean, _ = onset_found(begun, length, lambda part: part, 1e-3)
    assert mean == pytest.approx(begun + SHARE * length, abs=0.015)


@given(st.floats(0.01, 1.0), st.floats(0.01, 1.0))
def test_the_jerks_covariance_is_its_integral(first, second):
    low = min(first, second)
    wanted, _ = quad(lambda u: (first - u) ** 2 * (second - u) ** 2 / 4.0, 0.0, low)
    assert jerk_covariance(np.array([first, second]))[0, 1] == pytest.approx(wanted, rel=1e-6)


def test_ramps_in_dirt_that_the_spline_spread_most():
    # By the spline alone these were 0.054 and 0.043 off; the limit is the project's own.
    for kind, seed in (("dirty-12", 1_459_007), ("dirty-6", 1_457_024)):
        sensed = CONDITIONS[kind].sensed(seed)
        pairs = zip(analyse(sensed.recording).reps, sensed.truth["reps"], strict=True)
        errors = [rep.brake_fraction - true["brake_fraction"] for rep, true in pairs]
        assert np.abs(errors).max() < 0.04
