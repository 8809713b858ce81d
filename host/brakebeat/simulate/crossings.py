"""When motion in one sense passes given angles: exact times, thousands of angles at once."""

from __future__ import annotations

import numpy as np
from scipy.interpolate import CubicHermiteSpline

from brakebeat.simulate.dynamics import Array

_CLOSE_S = 1e-10
_MOST_STEPS = 60


def passing_times(t_s: Array, along_rad: Array, speed_rad_s: Array, angles_rad: Array) -> Array:
    """Times in s at which a rising angle passes ``angles_rad``.

    Args:
        t_s, along_rad, speed_rad_s: knots of the motion along the turning, shape (n,); the angle rises.
        angles_rad: inside the range of ``along_rad``, shape (m,).

    Returns:
        Shape (m,). Newton steps on the cubic through the knots, kept inside a shrinking bracket: near a
        turnaround the speed vanishes and plain Newton would leave the interval.
    """
    spline = CubicHermiteSpline(t_s, along_rad, speed_rad_s)
    at = np.clip(np.searchsorted(along_rad, angles_rad, side="right") - 1, 0, len(t_s) - 2)
    low, high = t_s[at].copy(), t_s[at + 1].copy()
    rise = along_rad[at + 1] - along_rad[at]
    share = np.divide(angles_rad - along_rad[at], rise, out=np.zeros_like(rise), where=rise > 0.0)
    t = low + np.clip(share, 0.0, 1.0) * (high - low)
    for _ in range(_MOST_STEPS):
        error = spline(t) - angles_rad
        beyond = error > 0.0
        high = np.where(beyond, t, high)
        low = np.where(beyond, low, t)
        speed = spline(t, 1)
        step = np.divide(error, speed, out=np.full_like(t, np.inf), where=speed > 0.0)
        target = t - step
        new = np.where((target >= low) & (target <= high), target, 0.5 * (low + high))
        moved = np.abs(new - t).max(initial=0.0)
        t = new
        if moved < _CLOSE_S:
            break
    return t
