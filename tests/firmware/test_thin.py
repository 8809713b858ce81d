"""Points of a pull that are dense in time are put together in pairs."""

import pytest

from tests.firmware.loaded import curve

PAD = 3


def made(gap_s: float, count: int = 60) -> curve.Curve:
    """A wheel that speeds up from 20 rad/s by 30 rad/s^2."""
    points = curve.Curve(count)
    points.mirrored = PAD
    for k in range(count):
        t = k * gap_s
        points.ts[k] = t
        points.xs[k] = 20.0 * t + 15.0 * t * t
    return points


def test_dense_points_become_half_as_many_up_to_the_angle():
    points = made(0.005)
    whole = made(0.005)
    points.thin(whole.xs[40])
    # The first four stay, then pairs up to place 40.
    assert points.count == 4 + 18 + 20
    assert list(points.ts[:4]) == list(whole.ts[:4])
    assert list(points.ts[22:42]) == list(whole.ts[40:60])
    assert points.ts[4] == pytest.approx((whole.ts[4] + whole.ts[5]) / 2)
    assert points.speed_at(0.15, 0.05, 6, 2, 0)[0] == pytest.approx(24.5, rel=1e-4)


def test_points_farther_apart_stay():
    points = made(0.009)
    points.thin(points.xs[50])
    assert points.count == 60
