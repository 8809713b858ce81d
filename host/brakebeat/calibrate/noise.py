"""How much edges scatter: time stamps jitter alike at every speed, mechanics strays in angle."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student_t

Array = NDArray[np.float64]

# A counter of whole microseconds cannot tell better than this (standard deviation of a uniform step).
TICK_US = 1.0 / np.sqrt(12.0)


def scatter(residual_rad: Array, speed_rad_s: Array, freedom: float) -> tuple[float, float]:
    """Standard deviations in time, s, and in angle, rad, that explain residuals (n,) at speeds (n,).

    Their squares are fitted to the residuals' squares, neither below 0; ``freedom`` is the share of the
    residuals' degrees of freedom that the fit before has left.
    """
    square = residual_rad**2 / max(freedom, 0.05)
    # Student-like tails must not rule: a square counts up to nine times the middle one.
    typical = float(np.median(square)) / 0.455
    square = np.minimum(square, 9.0 * typical + 1e-18)
    time2, angle2 = typical / float(np.median(speed_rad_s**2)), 0.0
    for _ in range(12):
        variance = time2 * speed_rad_s**2 + angle2 + 1e-24
        weight = 1.0 / variance**2
        x = speed_rad_s**2
        sxx, sx, s1 = (weight * x * x).sum(), (weight * x).sum(), weight.sum()
        sxy, sy = (weight * x * square).sum(), (weight * square).sum()
        determinant = sxx * s1 - sx * sx
        time2, angle2 = 0.0, sy / s1
        if determinant > 1e-9 * sxx * s1:
            time2 = (sxy * s1 - sy * sx) / determinant
            angle2 = (sxx * sy - sx * sxy) / determinant
        if time2 < 0.0:
            time2, angle2 = 0.0, sy / s1
        elif angle2 < 0.0:
            time2, angle2 = sxy / sxx, 0.0
    least = (TICK_US * 1e-6) ** 2
    return float(np.sqrt(max(time2, least))), float(np.sqrt(max(angle2, 0.0)))


def wander(residual: Array, block: int) -> float:
    """By what factor standard errors must grow, since residuals (n,) in units of their sigma hang together.

    1 where means over ``block`` neighbours scatter as those of independent residuals would.
    """
    count = len(residual) // block
    if count < 6:
        return 1.0
    means = residual[: count * block].reshape(count, block).mean(axis=1)
    own = float(np.mean(residual**2))
    ratio = float(np.mean(means**2)) * block / max(own, 1e-30)
    # Chance alone makes the ratio stray by sqrt(2/count).
    return float(np.sqrt(ratio)) if ratio > 1.0 + 3.0 * np.sqrt(2.0 / count) else 1.0


def few_edges_factor(freedom: int) -> float:
    """By what factor standard errors must grow since the scatter itself is known from few edges only.

    Twice the grown error then covers what two standard deviations should. The scatter is taken robustly,
    which wastes about half of the degrees of freedom.
    """
    return float(student_t.ppf(0.97725, max(0.5 * freedom, 1.0)) / 2.0)
