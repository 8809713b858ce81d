"""Points of a pull that are dense in time are put together in pairs."""

import pytest

from tests.firmware.loaded import curve
from tests.firmware.points import PART_RAD, curve_of

PAD = 3


def made(gap_s: float, count: int = 60) -> curve.Curve:
    """A wheel that speeds up from 20 rad/s by 30 rad/s^2."""
    times = [k * gap_s for k in range(count)]
    points = curve_of(times, [20.0 * t + 15.0 * t * t for t in times])
    points.mirrored = PAD
    return points


def test_dense_points_become_half_as_many_up_to_the_angle():
    points = made(0.005)
    whole = made(0.005)
    points.thin(whole.xs[40] * PART_RAD)
    # The first four stay, then pairs up to place 40.
    assert points.count == 4 + 18 + 20
    assert list(points.us[:4]) == list(whole.us[:4])
    assert list(points.us[22:42]) == list(whole.us[40:60])
    assert points.us[4] == (whole.us[4] + whole.us[5]) // 2
    assert points.speed_at(0.15, 0.05, 6, 2)[0] == pytest.approx(24.5, rel=1e-4)


def test_points_farther_apart_stay():
    points = made(0.009)
    points.thin(points.xs[50] * PART_RAD)
    assert points.count == 60
