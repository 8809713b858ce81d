"""What the edges on one side of a turnaround say, for a grid of times at which the wheel stood.

Given the angle at which it turned and the acceleration there, the edges of either side are jointly normal and
independent of the other's: the jerk is white noise on each. So each side is weighed alone, at times of its own, and
only a few numbers for each have to meet (see ``meeting``): two grids do the work of all their pairs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.spline import Array

# Away from the vertex a muscle's pull falls with speed, steadily: the usual acceleration's change in a second.
STEADY_JERK_PER_S = 1.0
# The acceleration may change after the vertex by this part of the usual one, within this time: pulling need not go on
# where braking stopped.
CHANGE = 0.8
CHANGE_S = 0.045
# How long that takes is the athlete's habit, which a single turnaround hardly tells (common experience, no source).
COMING_S = (0.03, 0.045, 0.06, 0.08)
# Out of a rest the pull starts from nothing and grows for this long (common experience, no source).
RISE_S = 0.035
# As a part of the variance: rounding must not make one negative.
_ROUNDING = 1e-11
_CLOSEST_S = 1e-6
# So many numbers are worked on at once, to stay within a processor's fast memory.
_AT_ONCE = 1 << 15


@dataclass(frozen=True)
class Sides:
    """One side of each of r readings, up to n edges each, the one next to the turnaround first.

    ``away_s`` (n, r): time from the first of them on; ``level_rad`` (n, r): angle, along the sense before the
    turnaround; ``sigma_rad`` (n, r); ``shown`` (n, r): 0 beyond a side's last edge, else 1. ``jerk_density`` and
    ``accel_rad_s2``, (r,): the jerk's density and the usual acceleration. ``rise_s``: the acceleration comes evenly
    within this (0: at once). ``change_s`` (r,): within this it changes; 0: it does not.
    """

    away_s: Array
    level_rad: Array
    sigma_rad: Array
    shown: Array
    jerk_density: Array
    accel_rad_s2: Array
    rise_s: float
    change_s: Array

    def part(self, which: slice | NDArray[np.int64]) -> Sides:
        """Some of the readings."""
        return Sides(
            self.away_s[:, which],
            self.level_rad[:, which],
            self.sigma_rad[:, which],
            self.shown[:, which],
            self.jerk_density[which],
            self.accel_rad_s2[which],
            self.rise_s,
            self.change_s[which],
        )


@dataclass(frozen=True)
class Told:
    """What sides (r, k) say: −2·log likelihood is ``misfit`` + ``determinant`` if they were at level 0 without the
    acceleration's own doubt.

    ``level`` and ``accel`` are the information on the level and on the acceleration (as a part of the usual one),
    ``both`` on the two together, ``level_pull`` and ``accel_pull`` the information times what they are.
    """

    misfit: Array
    determinant: Array
    level: Array
    both: Array
    accel: Array
    level_pull: Array
    accel_pull: Array

    def spread_over(self, axis: int) -> Told:
        """The same with an axis more, so that two grids broadcast to all pairs."""
        return Told(*[np.expand_dims(getattr(self, field.name), axis) for field in fields(self)])


def listen(sides: Sides, unseen_s: Array, blur_rad: float = 0.0) -> Told:
    """What each side says if the wheel stood ``unseen_s`` (r, k) before its first edge.

    Args:
        blur_rad: standard deviation added to every edge's angle.
    """
    count, tried = unseen_s.shape
    told = np.empty((7, count, tried))
    rows = len(sides.away_s)
    stride = max(_AT_ONCE // (tried * rows), 1)
    for part in _parts(count, stride):
        _listen(sides.part(part), unseen_s[part], blur_rad, told[:, part])
    return Told(*told)


def _parts(count: int, stride: int) -> Iterator[slice]:
    for start in range(0, count, stride):
        yield slice(start, min(start + stride, count))


def _listen(sides: Sides, unseen_s: Array, blur_rad: float, told: Array) -> None:
    """Cholesky's factorisation of all sides' covariances at once, column by column; below each matrix the edges'
    offsets, ones and the acceleration's course, which it whitens on the way."""
    rows, readings = sides.away_s.shape
    tried = unseen_s.shape[1]
    x = np.maximum(sides.away_s[:, :, None] + unseen_s, _CLOSEST_S)
    shown = np.broadcast_to(sides.shown[:, :, None], x.shape)
    usual = sides.accel_rad_s2[:, None]
    course = (grown(x, sides.rise_s) if sides.rise_s else 0.5 * x * x) * usual * shown
    steady = x * x * x * (STEADY_JERK_PER_S / 6.0 * usual) * shown
    changing = bool(sides.change_s.any())
    if changing:
        change = CHANGE * usual * grown(x, np.maximum(sides.change_s, 1e-6)[:, None]) * shown
    variance = (sides.sigma_rad**2 + blur_rad**2)[:, :, None]
    factor = np.empty((rows, rows + 3, readings, tried))
    for column in range(rows):
        low = x[column]
        apart = (sides.away_s[column:] - sides.away_s[column]) * sides.shown[column:] * sides.shown[column]
        jerk = sides.jerk_density * sides.shown[column:] * sides.shown[column]
        below = factor[column, column:]
        own = below[: rows - column]
        np.multiply(low, 0.05 * jerk[:, :, None], out=own)
        own += (0.125 * jerk * apart)[:, :, None]
        own *= low
        own += (jerk * apart * apart / 12.0)[:, :, None]
        own *= low * low * low
        own += steady[column:] * steady[column]
        if changing:
            own += change[column:] * change[column]
        own[0] += variance[column] + _ROUNDING * (own[0] + 1.0)
        below[rows - column] = (sides.level_rad[column] * sides.shown[column])[:, None] + course[column]
        below[rows - column + 1] = shown[column]
        below[rows - column + 2] = course[column]
        for earlier in range(column):
            below -= factor[earlier, column:] * factor[earlier, column]
        root = np.sqrt(own[0])
        own[0] = root
        below[1:] /= root
    _sums(factor, told)


def _sums(factor: Array, told: Array) -> None:
    rows = len(factor)
    offset, one, course = factor[:, rows], factor[:, rows + 1], factor[:, rows + 2]
    told[0] = (offset * offset).sum(axis=0)
    told[1] = 2.0 * np.log(np.prod(factor[np.arange(rows), np.arange(rows)], axis=0))
    told[2] = (one * one).sum(axis=0)
    told[3] = (one * course).sum(axis=0)
    told[4] = (course * course).sum(axis=0)
    told[5] = (one * offset).sum(axis=0)
    told[6] = (course * offset).sum(axis=0)


def grown(x: Array, rise_s: float | Array) -> Array:
    """The way made in times x under an acceleration that grows evenly to 1 within ``rise_s`` and stays."""
    late = np.maximum(x - rise_s, 0.0)
    way: Array = (x * x * x - late * late * late) / (6.0 * rise_s)
    return way


def finer_grid(values: Array, cost: Array, count: int, beside: int = 1) -> Array:
    """A finer grid (r, count) around each row's best value, from so many values below it to as many above."""
    rows, at = np.arange(len(values)), cost.argmin(axis=1)
    low = values[rows, np.maximum(at - beside, 0)][:, None]
    high = values[rows, np.minimum(at + beside, values.shape[1] - 1)][:, None]
    grid: Array = low + (high - low) * np.linspace(0.0, 1.0, count)
    return grid


def jerk_covariance(x: Array) -> Array:
    """Covariance (n, n) of thrice integrated white noise of unit density at times (n,): for a ≤ b it is
    ∫₀ᵃ (a − u)²(b − u)²/4 du."""
    low, apart = np.minimum.outer(x, x), np.abs(np.subtract.outer(x, x))
    covariance: Array = low**3 * (low * low / 20.0 + apart * (low / 8.0 + apart / 12.0))
    return covariance
