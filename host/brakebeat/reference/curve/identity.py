"""Which magnet is which: strokes recognised by the pattern that uneven placement leaves in their intervals.

Each stroke, fitted alone, tells the offset of every magnet counted from its own first edge. Strokes over the
same ring show the same pattern, turned by some number of magnets; by how many tells how many magnets lie between
the strokes, whatever happened to the edges at the turnaround. Evenly placed magnets show no pattern: then
every rotation is as likely as any other, and only the turnaround itself can tell.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brakebeat.reference.curve.fit import Fit
from brakebeat.reference.curve.strokes import EdgeRun
from brakebeat.reference.model.spline import Array, Integers

# What a stroke's fit leaves in its offsets beyond their formal spread.
_FLOOR_RAD = 1.5e-3
# A pattern can mislead (a miscounted stroke): odds beyond this are not believed.
_LEAST_CHANCE = 1e-5
_SWEEPS = 3


@dataclass(frozen=True)
class Marks:
    """Strokes as first cut, the chance of each rotation (runs, magnets) or None, each stroke's own offsets, and the
    signed count at every edge where the sensor gives it.

    Rotation r says: the magnet at a place of the stroke, counted from its first edge along the shaft, is number
    r + place modulo the magnets.
    """

    runs: Sequence[EdgeRun]
    chance: Array | None
    offsets_rad: list[Array]
    count: Integers | None

    def way(self, before: EdgeRun, after: EdgeRun) -> int | None:
        """How many spacings the first edge of a run lies back from the last one before, if that was counted."""
        if self.count is None:
            return None
        return before.sense * int(self.count[before.row[-1]] - self.count[after.row[0]])

    def offsets_of(self, stroke: int, rows: Integers) -> Array:
        """Offsets along the shaft of edges (rows) of a stroke or the next one, each as its stroke has it."""
        offsets = np.zeros(len(rows))
        for own in (stroke, stroke + 1):
            run, table = self.runs[own], self.offsets_rad[own]
            if len(table):
                _, at, among = np.intersect1d(rows, run.row, return_indices=True)
                offsets[at] = table[run.sense * run.place[among] % len(table)]
        return offsets

    def distance_cost(self, stroke: int, from_row: int, to_row: int) -> Array | None:
        """−2·log chance of each number of magnets, modulo theirs, that lie along the shaft from one edge (a row) of
        a stroke on to one of the next."""
        if self.chance is None:
            return None
        start, goal = self._place(stroke, from_row), self._place(stroke + 1, to_row)
        if start is None or goal is None:
            return None
        count = self.chance.shape[1]
        passed = np.arange(count)
        total = np.zeros(count)
        for rotation in range(count):
            other = (rotation + start + passed - goal) % count
            total += self.chance[stroke, rotation] * self.chance[stroke + 1, other]
        cost: Array = -2.0 * np.log(np.maximum(total * count, _LEAST_CHANCE))
        return cost

    def _place(self, stroke: int, row: int) -> int | None:
        run = self.runs[stroke]
        at = int(np.searchsorted(run.row, row))
        if at >= len(run.row) or run.row[at] != row:
            return None
        return run.sense * int(run.place[at])


def recognise(fits: Sequence[Fit]) -> Array | None:
    """Chance of each rotation (runs, magnets) of strokes fitted alone; None where magnets have no offsets."""
    count = fits[0].magnets if fits else 0
    if count < 2:
        return None
    offsets = np.array([fit.offsets_rad for fit in fits])
    variance = np.array([np.diag(fit.shared_covariance)[:count] for fit in fits])
    # Of a few edges that fit nothing, rounding can leave it below zero.
    variance = np.maximum(variance, 0.0) + _FLOOR_RAD**2
    first = int(np.argmin(variance.sum(axis=1)))
    table, spread = offsets[first], variance[first]
    chance = np.full((len(fits), count), 1.0 / count)
    for _ in range(_SWEEPS):
        chance = np.array([_chances(o, v, table, spread) for o, v in zip(offsets, variance, strict=True)])
        table, spread = _pooled(offsets, variance, chance)
    return chance


def _chances(offsets: Array, variance: Array, table: Array, spread: Array) -> Array:
    """Chance of each rotation of one stroke's offsets against the table."""
    count = len(table)
    cost = np.empty(count)
    for rotation in range(count):
        at = (np.arange(count) + rotation) % count
        both = variance + spread[at]
        cost[rotation] = ((offsets - table[at]) ** 2 / both + np.log(both)).sum()
    chance = np.exp(-0.5 * (cost - cost.min()))
    chance = np.maximum(chance / chance.sum(), _LEAST_CHANCE)
    result: Array = chance / chance.sum()
    return result


def _pooled(offsets: Array, variance: Array, chance: Array) -> tuple[Array, Array]:
    """The table that all strokes agree on, each turned its likeliest way and weighed by how sure that is."""
    runs, count = offsets.shape
    weight, total = np.zeros(count), np.zeros(count)
    for run in range(runs):
        rotation = int(np.argmax(chance[run]))
        sure = _certainty(chance[run])
        at = (np.arange(count) + rotation) % count
        weight[at] += sure / variance[run]
        total[at] += sure * offsets[run] / variance[run]
    weight = np.maximum(weight, 1e-3)
    return total / weight, 1.0 / weight + _FLOOR_RAD**2


def _certainty(chance: Array) -> float:
    """1 where one rotation is certain, near 0 where all are alike."""
    entropy = -float((chance * np.log(chance)).sum())
    return max(1.0 - entropy / math.log(len(chance)), 0.05)
