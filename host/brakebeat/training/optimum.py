"""The inertia at which concentric mean power is greatest."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from brakebeat.training.lines import CONFIDENCE, Array, fieller

# A parabola of logarithms misses the power curves of simulated athletes by about this much of their power.
_MISFIT = 0.01

Where = Literal["inside", "lighter", "heavier", "unknown"]


@dataclass(frozen=True)
class Optimum:
    """Where power peaks, in kg·m², with ``lines.CONFIDENCE``.

    ``low`` or ``high`` None: the data leave that side open. ``inertia_kg_m2`` None: they show no peak.
    ``where``: inside the tested range, at lighter or heavier inertias than were tested, or unknown.
    """

    inertia_kg_m2: float | None
    low: float | None
    high: float | None
    where: Where
    greatest_power_w: float | None


def power_optimum(inertia_kg_m2: Array, power_w: Array) -> Optimum:
    """The peak of a parabola of ln(power) over ln(inertia) through n points (n,), one an inertia.

    Why a parabola of logarithms: power rises, peaks and falls with inertia, evenly per doubling. It is not the
    athlete's true curve; what it misses is scatter here, at least ``_MISFIT``, and widens the interval. That
    comes from Fieller's theorem, with the n − 3 degrees of freedom of the points.
    """
    x, y = np.log(inertia_kg_m2), np.log(power_w)
    middle = float(x.mean())
    design = np.vander(x - middle, 3)
    solved, _, rank, _ = np.linalg.lstsq(design, y, rcond=None)
    curve, slope, height = (float(value) for value in solved)
    degrees = len(x) - 3
    if rank < 3:
        return Optimum(None, None, None, "unknown", None)
    low, high = _interval(design, y - design @ solved, curve, slope, degrees)
    ends = (
        None if low is None else math.exp(middle + low),
        None if high is None else math.exp(middle + high),
    )
    if curve >= 0.0:
        # No peak at all: the best is beyond the better end.
        where: Where = "lighter" if y[np.argmin(x)] > y[np.argmax(x)] else "heavier"
        return Optimum(None, None, None, where, None)
    place = -slope / (2.0 * curve)
    if not abs(place) < math.log(1e6):
        return Optimum(None, *ends, "unknown", None)
    at = middle + place
    where = "lighter" if at < x.min() else "heavier" if at > x.max() else "inside"
    greatest = math.exp(height - slope**2 / (4.0 * curve)) if where == "inside" else None
    return Optimum(math.exp(at), *ends, where, greatest)


def _interval(
    design: Array, left: Array, curve: float, slope: float, degrees: int
) -> tuple[float | None, float | None]:
    if degrees < 1:
        return None, None
    from scipy.special import stdtrit

    # Five points can lie on a wrong curve by luck.
    variance = max(float((left**2).sum()) / degrees, _MISFIT**2)
    covariance = variance * np.linalg.inv(design.T @ design)
    # The peak is at −slope ÷ 2·curve.
    low, high = fieller(
        -slope,
        2.0 * curve,
        float(covariance[1, 1]),
        4.0 * float(covariance[0, 0]),
        -2.0 * float(covariance[0, 1]),
        float(stdtrit(degrees, 0.5 + CONFIDENCE / 2.0)),
    )
    widest = math.log(1e6)
    return (
        None if low is None or low < -widest else low,
        None if high is None or high > widest else high,
    )
