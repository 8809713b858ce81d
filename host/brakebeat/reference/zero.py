"""Where φ = 0 lies, from two kinds of evidence that mirror about it, whichever way round the wheel turns.

Turnarounds: the strap is wound on by about as much at every one of them, on either side; partial reps lie nearer.
Releases: the strap can only pull, so the athlete lets go of it a little before it is all out, by about the same
angle. Both scatter, for reasons of their own; each is weighed by the scatter that it shows. Besides, φ = 0 lies
between where each stroke is fastest and where its braking begins, whatever the ranges are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.model.spline import Array

Signs = NDArray[np.int64]

# Scatter of a whole rep's range as a part of it, and the least; share of reps that are partial.
_SCATTER = 0.03
_LEAST_SCATTER_RAD = 0.05
_PARTIAL = 0.25
# Scatter of where the pull ends, until there are enough of them to tell, and the least.
_RELEASE_SCATTER_RAD = 0.3
_LEAST_RELEASE_RAD = 0.03
# How far ahead of φ = 0 the pull ends, and by how much that differs with the range: prior spreads, parts of a range.
_LEAD_PRIOR = 0.3
_LEAD_SLOPE_PRIOR = 0.1
# How far a stroke's bounds can be off, rad.
_BOUND_SD_RAD = 0.7
_TUKEY = 4.7
_MOST_CANDIDATES = 400
# From so many turnarounds on the range may drift evenly.
_FEWEST_FOR_DRIFT = 6


@dataclass(frozen=True)
class Zero:
    """φ = 0 in a chain's frame, with its standard deviation; ``assumed`` where one rep alone told it."""

    angle_rad: float
    sd_rad: float
    assumed: bool


@dataclass(frozen=True)
class Bounds:
    """Between these angles one stroke passes φ = 0; infinite where it does not tell."""

    low_rad: float
    high_rad: float


@dataclass(frozen=True)
class Turns:
    """Turnarounds at ``angle_rad`` (n,) in the frame, on ``side`` +1 or −1 of φ = 0."""

    angle_rad: Array
    side: Signs


@dataclass(frozen=True)
class Releases:
    """Where pulls ended: ``angle_rad`` (m,) in the frame, turning with ``sense`` ±1, begun at ``begin_rad``."""

    angle_rad: Array
    sense: Signs
    begin_rad: Array

    @classmethod
    def none(cls) -> Releases:
        """No pull of which the end is known."""
        return cls(np.zeros(0), np.zeros(0, np.int64), np.zeros(0))


def find_zero(
    turns: Turns, releases: Releases, bounds: Sequence[Bounds], marked: Bounds | None = None
) -> Zero | None:
    """φ = 0; None unless there are turnarounds on both sides.

    Args:
        bounds: what each stroke says; ``marked``: the spacing around the edge that a calibration named.
    """
    if not (turns.side > 0).any() or not (turns.side < 0).any():
        return None
    start, reach = _likeliest(turns, releases, bounds, marked)
    zero, sd = _Mirror(turns, releases, start, reach).solve()
    zero, sd = _bounded(zero, sd, bounds)
    if marked is not None:
        zero, sd = _inside(zero, sd, marked)
    return Zero(zero, sd, len(turns.side) < 3 and marked is None)


def _likeliest(
    turns: Turns, releases: Releases, bounds: Sequence[Bounds], marked: Bounds | None
) -> tuple[float, float]:
    """The likeliest φ = 0 among the middles between what lies on either side, and the whole reps' reach."""
    zeros = _candidates(turns, releases)
    if marked is not None:
        zeros = np.append(zeros, 0.5 * (marked.low_rad + marked.high_rad))
    cost = _unmirrored(zeros, releases)
    for bound in bounds:
        cost += _outside(zeros, bound)
    if marked is not None:
        cost += 100.0 * _outside(zeros, marked)
    away = turns.side * (turns.angle_rad - zeros[:, None])
    best = (np.inf, float(zeros[0]), 1.0)
    for share in (0.5, 0.7, 0.85, 1.0):
        reach = np.maximum(np.quantile(away, share, axis=1), 1.0)
        scatter = _SCATTER * reach + _LEAST_SCATTER_RAD
        z = (away - reach[:, None]) / scatter[:, None]
        whole = (1.0 - _PARTIAL) / (scatter[:, None] * np.sqrt(2.0 * np.pi)) * np.exp(-0.5 * z * z)
        short = _PARTIAL / reach[:, None] * ((away > 0.0) & (away < reach[:, None]))
        total = cost - 2.0 * np.log(whole + short + 1e-6).sum(axis=1)
        at = int(np.argmin(total))
        if total[at] < best[0]:
            best = (float(total[at]), float(zeros[at]), float(reach[at]))
    return best[1], best[2]


def _candidates(turns: Turns, releases: Releases) -> Array:
    """Middles of turnarounds, and of releases, on opposite sides, thinned to a bounded number."""
    return np.concatenate(
        [_middles(turns.angle_rad, turns.side), _middles(releases.angle_rad, releases.sense)]
    )


def _middles(angle: Array, side: Signs) -> Array:
    upper, lower = angle[side > 0], angle[side < 0]
    if not len(upper) or not len(lower):
        return np.zeros(0)
    stride = max(int(np.sqrt(len(upper) * len(lower) / _MOST_CANDIDATES)), 1)
    middles = 0.5 * (upper[::stride, None] + lower[None, ::stride])
    return np.append(middles.ravel(), 0.5 * (np.median(upper) + np.median(lower)))


def _unmirrored(zeros: Array, releases: Releases) -> Array:
    """Cost of releases that do not lie equally far ahead of φ = 0 either way round."""
    if not len(releases.sense):
        return np.zeros(len(zeros))
    ahead = releases.sense * (zeros[:, None] - releases.angle_rad)
    cost: Array = _levelled((ahead - np.median(ahead, axis=1)[:, None]) / _BOUND_SD_RAD).sum(axis=1)
    return cost


def _outside(zeros: Array, bound: Bounds) -> Array:
    """Cost of lying outside a stroke's bounds."""
    beyond = np.maximum(np.maximum(bound.low_rad - zeros, zeros - bound.high_rad), 0.0)
    return _levelled(beyond / _BOUND_SD_RAD)


def _levelled(z: Array) -> Array:
    """z², but it levels off: a single stroke can be wrong altogether."""
    cost: Array = 12.0 * (1.0 - 1.0 / (1.0 + z**2 / 12.0))
    return cost


class _Mirror:
    """Least squares with Tukey's weights over both kinds of evidence, from a good start.

    A turnaround lies at zero ± (reach + drift·count), a release at zero ∓ (lead + slope·(its range − the reach)).
    """

    def __init__(self, turns: Turns, releases: Releases, zero: float, reach: float) -> None:
        n, m = len(turns.side), len(releases.sense)
        self._turns = np.arange(n + m) < n
        self._start, self._reach = zero, abs(reach)
        self._angle = np.concatenate([turns.angle_rad, releases.angle_rad])
        self._sign = np.concatenate([turns.side, releases.sense])
        count = np.arange(n, dtype=float) - 0.5 * (n - 1)
        drift = turns.side * count if n >= _FEWEST_FOR_DRIFT else np.zeros(n)
        wider = np.nan_to_num(np.abs(releases.begin_rad - zero) - self._reach)
        none_n, none_m = np.zeros(n), np.zeros(m)
        self._design = np.column_stack(
            [
                np.ones(n + m),
                np.append(turns.side.astype(float), none_m),
                np.append(drift, none_m),
                np.append(none_n, -releases.sense),
                np.append(none_n, -releases.sense * wider),
            ]
        )
        lead = (_LEAD_PRIOR * self._reach) ** -2
        self._prior = np.diag([1e-9, 1e-9, 1e-6, lead, _LEAD_SLOPE_PRIOR**-2])

    def solve(self) -> tuple[float, float]:
        """φ = 0 and its standard deviation."""
        solution = np.array([self._start, self._reach, 0.0, 0.0, 0.0])
        releases = ~self._turns
        if releases.any():
            solution[3] = np.median(self._sign[releases] * (self._start - self._angle[releases]))
        for _ in range(30):
            residual = self._angle - self._design @ solution
            scatter = self._scatter(residual)
            weight = np.clip(1.0 - (residual / (_TUKEY * scatter)) ** 2, 0.0, None) ** 2 / scatter**2
            if not self._both_sides(weight):
                return self._start, float(scatter[0])
            weighted = self._design * weight[:, None]
            covariance = np.linalg.inv(weighted.T @ self._design + self._prior)
            updated = covariance @ (weighted.T @ self._angle)
            if np.allclose(updated, solution, atol=1e-9):
                break
            solution = updated
        return float(solution[0]), float(np.sqrt(covariance[0, 0]))

    def _scatter(self, residual: Array) -> Array:
        """Each datum's scatter: its kind's, as measured."""
        usual = _SCATTER * self._reach + _LEAST_SCATTER_RAD
        turns = np.abs(residual[self._turns])
        # Partial reps may be the greater part: they do not tell how whole ones scatter.
        own = _pooled(turns[turns < _TUKEY * usual], usual)
        release = _pooled(np.abs(residual[~self._turns]), _RELEASE_SCATTER_RAD)
        return np.where(self._turns, max(own, _LEAST_SCATTER_RAD), max(release, _LEAST_RELEASE_RAD))

    def _both_sides(self, weight: Array) -> bool:
        told = weight > 0.0
        return any(
            (told & kind & (self._sign > 0)).any() and (told & kind & (self._sign < 0)).any()
            for kind in (self._turns, ~self._turns)
        )


def _pooled(away: Array, usual: float) -> float:
    """The scatter as measured, held to the usual one where little tells it."""
    if not len(away):
        return usual
    share = len(away) / (len(away) + 4.0)
    return share * 1.4826 * float(np.median(away)) + (1.0 - share) * usual


def _bounded(zero: float, sd: float, bounds: Sequence[Bounds]) -> tuple[float, float]:
    """Mean and standard deviation of a normal estimate weighed with what all strokes' bounds say."""
    grid = zero + np.linspace(-5.0, 5.0, 401) * max(sd, 1e-6)
    cost = ((grid - zero) / max(sd, 1e-6)) ** 2
    for bound in bounds:
        cost += _outside(grid, bound)
    return _moments(grid, cost)


def _inside(zero: float, sd: float, bound: Bounds) -> tuple[float, float]:
    """Mean and standard deviation of a normal estimate known to lie inside bounds."""
    grid = np.linspace(bound.low_rad, bound.high_rad, 401)
    return _moments(grid, ((grid - zero) / max(sd, 1e-6)) ** 2)


def _moments(grid: Array, cost: Array) -> tuple[float, float]:
    weight = np.exp(-0.5 * (cost - cost.min()))
    weight /= weight.sum()
    mean = float(weight @ grid)
    return mean, float(np.sqrt(max(weight @ (grid - mean) ** 2, 0.0)))
