"""Turnarounds where the wheel may have rested: when it stood, and for how long."""

from __future__ import annotations

import numpy as np

from brakebeat.reference.model.spline import Array, Integers
from brakebeat.reference.turnaround.both_sides import BothSides, Ear, curvature_spread
from brakebeat.reference.turnaround.meeting import Met
from brakebeat.reference.turnaround.reading import Verdict
from brakebeat.reference.turnaround.side import finer_grid

# The longest that a turning wheel may take between two magnets.
LONGEST_S = 2.5
REST_COST = 1.0
_REST_SCALE_S = 0.02
# A shorter rest than this is none: the fit through it costs less than telling it apart.
LEAST_REST_S = 0.015
LEAST_ROOM_S = 0.012
# A brake has to let go and a pull to come anew around a rest, which muscles take some time for (common experience, no
# source): shorter rests get less and less likely.
_QUICK_S, _QUICK_SPREAD = 0.05, 0.5
# With a rest the valley runs aslant, since a wheel that turns later has further to go either way: its grids get finer
# more slowly, so as not to lose it.
_GRIDS, BLURS_RAD = (20, 15, 15, 15, 15, 15, 15), (0.04, 0.02, 0.01, 0.004, 0.001, 0.0, 0.0)
_GRIDS_BESIDE = 3
# How the cost curves there tells the doubt: of the vertex at the same rest, and of the rest at each the best vertex.
_BESIDE_S, _REST_BESIDE_S = 0.002, 0.005
_SHARES = np.linspace(-0.12, 0.12, 15)
_AT_REST, _OTHER_RESTS = [1, 0, 2], slice(3, None)
# Neither coming to rest nor setting off takes less of the time that the wheel moves unseen.
_LEAST_SHARE = 0.05


class Rested(BothSides):
    """Readings (r,) with a rest."""

    RESTED = True

    def __init__(self, ear: Ear, places: Integers) -> None:
        super().__init__(ear, places)
        self._room = room_s(self.gap_s)

    def cost(self, before_s: Array, after_s: Array, blur_rad: float = 0.0) -> Array:
        """Costs (r, k, l) of turning ``before_s`` (r, k) after an edge and resting until ``after_s`` (r, l) before."""
        before, after = self.listen(before_s, after_s, blur_rad)
        found = self.met(before.spread_over(2), after.spread_over(1), axes=2)
        cost = found.cost + self.idle(before_s)[:, :, None] + self.idle(after_s)[:, None, :]
        moving = before_s[:, :, None] + after_s[:, None, :]
        shorter = np.minimum(before_s[:, :, None], after_s[:, None, :])
        possible = (moving <= self._room[:, None, None]) & (shorter >= _LEAST_SHARE * moving)
        return np.where(possible, cost, 1e300)

    def spanning(self, count: int) -> Array:
        """Times (r, count) from a magnet to standstill."""
        room = np.maximum(0.99 * self._room[:, None] - 0.003, 1e-3)
        grid: Array = 0.003 * (room / 0.003) ** np.linspace(0.0, 1.0, count)
        return grid

    def verdicts(self) -> list[Verdict]:
        """The best vertices and rests."""
        before = after = self.spanning(_GRIDS[0])
        cost = self.cost(before, after, BLURS_RAD[0])
        for count, blur in zip(_GRIDS[1:], BLURS_RAD[1:], strict=True):
            before, after = (
                finer_grid(before, cost.min(axis=2), count, _GRIDS_BESIDE),
                finer_grid(after, cost.min(axis=1), count, _GRIDS_BESIDE),
            )
            cost = self.cost(before, after, blur)
        rows = np.arange(len(before))
        flat = cost.reshape(len(rows), -1).argmin(axis=1)
        u, w = before[rows, flat // cost.shape[2]], after[rows, flat % cost.shape[2]]
        costs, found = self._paired(*_beside(u, w))
        # The point itself, then points at the same rest, then at a shorter and at a longer one.
        vertex_spread = curvature_spread(costs[:, _AT_REST], _BESIDE_S, 0.1)
        rests = costs[:, _OTHER_RESTS].reshape(len(u), 3, -1).min(axis=2)
        rest_spread = curvature_spread(rests, _REST_BESIDE_S, 0.05)
        rest = self.gap_s - u - w
        doubt = np.minimum(np.maximum(rest_spread, 1e-3), rest + _REST_SCALE_S)
        total = costs[:, 0] + self.beyond_likelihood(u, w, found.level_rad[:, 0]) + REST_COST
        total += 2.0 * np.log((rest + _REST_SCALE_S) / doubt)
        total += (np.maximum(np.log(_QUICK_S / np.maximum(rest, LEAST_REST_S)), 0.0) / _QUICK_SPREAD) ** 2
        columns = total, found.misfit[:, 0], self.last_s + u, vertex_spread, rest, rest_spread
        return [Verdict(*told) for told in zip(*(column.tolist() for column in columns), strict=True)]

    def _paired(self, before_s: Array, after_s: Array) -> tuple[Array, Met]:
        """Costs (r, k) of turning with rests, time by time."""
        told = self.listen(before_s, after_s)
        found = self.met(*told, axes=1)
        return found.cost + self.idle(before_s) + self.idle(after_s), found


def room_s(gap_s: Array) -> Array:
    """How long the wheel may move unseen in a gap with a rest in it."""
    return np.minimum(gap_s - LEAST_REST_S, LONGEST_S)


def _beside(before_s: Array, after_s: Array) -> tuple[Array, Array]:
    """Times (r, k) at and around those given: themselves, other vertices at the same rest, other rests."""
    u, w = before_s[:, None], after_s[:, None]
    same = np.array([0.0, -_BESIDE_S, _BESIDE_S])
    moving = (u + w)[:, None] + np.array([-_REST_BESIDE_S, 0.0, _REST_BESIDE_S])[:, None]
    share = np.clip((u / (u + w))[:, None] + _SHARES, 0.0, 1.0)
    moving = np.maximum(moving, 1e-3)
    first, second = (part.reshape(len(u), -1) for part in (share * moving, (1.0 - share) * moving))
    return np.hstack([u + same, first]), np.hstack([w - same, second])
