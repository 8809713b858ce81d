"""Drum, strap and friction: what must hold for any rig."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from brakebeat.mechanics import (
    drum_radius_at_m,
    friction_torque_nm,
    speed_after_work_rad_s,
    strap_travel_m,
    wound_angle_rad,
)

RADII = st.floats(0.005, 0.5)
THICKNESSES = st.floats(0.0, 0.02)
ANGLES = st.floats(-200.0, 200.0)


def test_one_turn_lays_one_thickness():
    assert drum_radius_at_m(2 * np.pi, 0.015, 0.0015) == pytest.approx(0.0165)
    assert drum_radius_at_m(-2 * np.pi, 0.015, 0.0015) == pytest.approx(0.0165)


def test_cone_adds_to_the_strap():
    assert drum_radius_at_m(-4.0, 0.02, 0.0, 0.0005) == pytest.approx(0.022)


def test_arrays_go_through_elementwise():
    angles = np.array([-1.0, 0.0, 2.0])
    np.testing.assert_allclose(strap_travel_m(angles, 0.5), [0.5, 0.0, 1.0])


@given(ANGLES, RADII, THICKNESSES, st.floats(0.0, 0.001))
def test_radius_is_the_slope_of_the_travel(angle, radius, thickness, taper):
    assume(abs(angle) > 1e-2)
    step = 1e-4
    rise = strap_travel_m(angle + step, radius, thickness, taper) - strap_travel_m(
        angle - step, radius, thickness, taper
    )
    expected = np.sign(angle) * drum_radius_at_m(angle, radius, thickness, taper)
    assert rise / (2 * step) == pytest.approx(expected, rel=1e-6)


@given(ANGLES, RADII, THICKNESSES, st.floats(0.0, 0.001))
def test_travel_and_angle_undo_each_other(angle, radius, thickness, taper):
    travel = strap_travel_m(angle, radius, thickness, taper)
    assert wound_angle_rad(travel, radius, thickness, taper) == pytest.approx(abs(angle), rel=1e-9, abs=1e-12)


def test_narrowing_cone_runs_out_of_drum():
    assert np.isnan(wound_angle_rad(10.0, 0.02, 0.0, -0.001))


@given(st.floats(-300, 300), st.floats(0, 5), st.floats(0, 0.1), st.floats(0, 0.01))
def test_friction_does_not_care_for_the_sense(speed, coulomb, viscous, drag):
    torque = friction_torque_nm(speed, coulomb, viscous, drag)
    assert torque == friction_torque_nm(-speed, coulomb, viscous, drag)
    assert torque == pytest.approx(coulomb + viscous * abs(speed) + drag * speed * speed)


def test_wheel_cannot_give_more_than_it_holds():
    with pytest.raises(ValueError, match="stops before"):
        speed_after_work_rad_s(0.07, -100.0, 10.0)
