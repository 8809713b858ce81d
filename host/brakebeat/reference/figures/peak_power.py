"""The greatest power of a phase from two methods that err for different reasons, weighted by how much either may."""

from __future__ import annotations

import math

from brakebeat.reference.figures.one_change import Changes

# A spline smoothed for the least error errs as much by what it blurs as by the noise that it lets through.
_BLURRED = 2.0
# No torque changes just as assumed: the power errs by such a part of itself (found on simulated athletes).
_ASSUMED = 0.005


def peak_power_w(by_spline_w: float, spline_sd_w: float, changes: Changes) -> tuple[float, float]:
    """The greatest 50 ms mean and its standard uncertainty.

    Args:
        by_spline_w, spline_sd_w: what the spline has, and the noise in it.
        changes: the courses that the torque may have taken.
    """
    changed, changed_sd = changes.mean_power_w()
    spline_variance = _BLURRED * spline_sd_w**2
    changed_variance = changed_sd**2 + (_ASSUMED * changed) ** 2
    share = spline_variance / (spline_variance + changed_variance)
    mean = share * changed + (1.0 - share) * by_spline_w
    between = share * (1.0 - share) * (changed - by_spline_w) ** 2
    return mean, math.sqrt(share * changed_variance + (1.0 - share) * spline_sd_w**2 + between)
