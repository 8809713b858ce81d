"""Turnarounds where the wheel turned straight round: when it stood."""

from __future__ import annotations

import numpy as np

from brakebeat.reference.model.spline import Array, Integers
from brakebeat.reference.turnaround.both_sides import BothSides, Ear, curvature_spread
from brakebeat.reference.turnaround.meeting import Met
from brakebeat.reference.turnaround.reading import Verdict
from brakebeat.reference.turnaround.side import finer_grid

# Edges known to a microsecond leave so narrow a valley that a coarse grid would miss it: it is widened at first.
_GRIDS, BLURS_RAD = (18, 9, 9, 9), (0.01, 0.002, 0.0, 0.0)
_BESIDE_S = 0.002


class Straight(BothSides):
    """Readings (r,) without a rest."""

    def __init__(self, ear: Ear, places: Integers) -> None:
        super().__init__(ear, places)
        self._room = np.maximum(self.gap_s, 1e-6)[:, None]

    def cost(self, before_s: Array, blur_rad: float = 0.0) -> tuple[Array, Met]:
        """Costs of turning straight round at (r, k) after the last edge before."""
        after_s = self.gap_s[:, None] - before_s
        told = self.listen(before_s, after_s, blur_rad)
        found = self.met(*told, axes=1)
        return found.cost + self.idle(before_s) + self.idle(after_s), found

    def spanning(self, low: float, high: float, count: int) -> Array:
        """Times (r, count) from one part of the gap to another."""
        return self._room * np.linspace(low, high, count)

    def verdicts(self) -> list[Verdict]:
        """The best vertices."""
        before = self.spanning(0.02, 0.98, _GRIDS[0])
        cost, found = self.cost(before, BLURS_RAD[0])
        for count, blur in zip(_GRIDS[1:], BLURS_RAD[1:], strict=True):
            before = finer_grid(before, cost, count)
            cost, found = self.cost(before, blur)
        at = (np.arange(len(before)), cost.argmin(axis=1))
        best = before[at]
        beside = best[:, None] + np.array([-_BESIDE_S, 0.0, _BESIDE_S])
        spread = curvature_spread(self.cost(beside)[0], _BESIDE_S, 0.1)
        total = cost[at] + self.beyond_likelihood(best, self.gap_s - best, found.level_rad[at])
        columns = total, found.misfit[at], self.last_s + best, spread
        return [Verdict(*told) for told in zip(*(column.tolist() for column in columns), strict=True)]
