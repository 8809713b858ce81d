"""Where φ = 0 lies: the strap is wound on by about as much at every turnaround, one way round and the other.

Most turnarounds lie at about the same distance from φ = 0, on either side; partial reps lie nearer. Besides, the
strap can only pull: up to φ = 0 the wheel is driven, from there on braked. So φ = 0 lies between where each
stroke is fastest and where its braking begins, whatever the ranges are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.spline import Array

# Scatter of a whole rep's range as a part of it, and the least; share of reps that are partial.
_SCATTER = 0.03
_LEAST_SCATTER_RAD = 0.05
_PARTIAL = 0.25
# How far a stroke's bounds can be off, rad.
_BOUND_SD_RAD = 0.7
_TUKEY = 4.7
_MOST_CANDIDATES = 400


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


def find_zero(
    angle_rad: Array, side: NDArray[np.int64], bounds: Sequence[Bounds], marked: Bounds | None = None
) -> Zero | None:
    """φ = 0 from turnarounds at ``angle_rad`` (n,) on ``side`` +1 or −1; None unless both sides are there.

    Args:
        bounds: what each stroke says; ``marked``: the spacing around the edge that a calibration named.
    """
    if not (side > 0).any() or not (side < 0).any():
        return None
    start, reach = _likeliest(angle_rad, side, bounds, marked)
    zero, sd = _refined(angle_rad, side, start, reach)
    zero, sd = _bounded(zero, sd, bounds)
    if marked is not None:
        zero, sd = _inside(zero, sd, marked)
    return Zero(zero, sd, len(angle_rad) < 3 and marked is None)


def _likeliest(
    angle: Array, side: NDArray[np.int64], bounds: Sequence[Bounds], marked: Bounds | None
) -> tuple[float, float]:
    """The likeliest φ = 0 among the middles between turnarounds on either side, and the whole reps' reach."""
    zeros = _candidates(angle, side)
    if marked is not None:
        zeros = np.append(zeros, 0.5 * (marked.low_rad + marked.high_rad))
    cost = np.zeros(len(zeros))
    for bound in bounds:
        cost += _outside(zeros, bound)
    if marked is not None:
        cost += 100.0 * _outside(zeros, marked)
    away = side * (angle - zeros[:, None])
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


def _candidates(angle: Array, side: NDArray[np.int64]) -> Array:
    """Middles of turnarounds on opposite sides, thinned to a bounded number."""
    upper, lower = angle[side > 0], angle[side < 0]
    stride = max(int(np.sqrt(len(upper) * len(lower) / _MOST_CANDIDATES)), 1)
    middles = 0.5 * (upper[::stride, None] + lower[None, ::stride])
    return np.append(middles.ravel(), 0.5 * (np.median(upper) + np.median(lower)))


def _outside(zeros: Array, bound: Bounds) -> Array:
    """Cost of lying outside a stroke's bounds; it levels off, for a bound can be wrong altogether."""
    beyond = np.maximum(np.maximum(bound.low_rad - zeros, zeros - bound.high_rad), 0.0) / _BOUND_SD_RAD
    cost: Array = 12.0 * (1.0 - 1.0 / (1.0 + beyond**2 / 12.0))
    return cost


def _refined(angle: Array, side: NDArray[np.int64], zero: float, reach: float) -> tuple[float, float]:
    """Least squares of θ = zero ± (reach + drift·k) with Tukey's weights, from a good start."""
    count = np.arange(len(angle), dtype=float) - 0.5 * (len(angle) - 1)
    columns = [np.ones(len(angle)), side.astype(float)]
    if len(angle) >= 6:
        columns.append(side * count)
    design = np.column_stack(columns)
    solution = np.zeros(design.shape[1])
    solution[:2] = zero, reach
    usual = _SCATTER * abs(reach) + _LEAST_SCATTER_RAD
    weight, scatter = np.ones(len(angle)), usual
    for _ in range(30):
        residual = angle - design @ solution
        near = np.abs(residual) < _TUKEY * usual
        spread = 1.4826 * float(np.median(np.abs(residual[near]))) if near.any() else usual
        scatter = max(_pooled(spread, usual, int(near.sum())), _LEAST_SCATTER_RAD)
        weight = np.clip(1.0 - (residual / (_TUKEY * scatter)) ** 2, 0.0, None) ** 2
        if not ((weight > 0) & (side > 0)).any() or not ((weight > 0) & (side < 0)).any():
            return zero, usual
        root = np.sqrt(weight + 1e-6)[:, None]
        updated = np.linalg.lstsq(design * root, angle * root[:, 0], rcond=None)[0]
        if np.allclose(updated, solution, atol=1e-9):
            break
        solution = updated
    normal = design.T @ (design * weight[:, None]) + 1e-6 * np.eye(design.shape[1])
    return float(solution[0]), scatter * float(np.sqrt(np.linalg.inv(normal)[0, 0]))


def _pooled(spread: float, usual: float, count: int) -> float:
    """The scatter as measured, held to the usual one where few turnarounds tell."""
    share = count / (count + 4.0)
    return share * spread + (1.0 - share) * usual


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
