"""One reading of the edges around a turnaround, and what it costs to believe it."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.likelihood import REACH_RAD, Faults
from brakebeat.reference.noise import Noise
from brakebeat.reference.spline import Array, Integers
from brakebeat.reference.vertex import CHANGE_S, Prior, weigh_vertices

# The longest that a turning wheel may take between two magnets.
LONGEST_S = 2.5
# −2·log chance of a graze that still gives its edge.
_GRAZE_COST = 1.4
# A wheel may take so many times as long as usual from a magnet to standstill, give or take (in its logarithm).
_SLOW, _SLOW_SPREAD = 2.0, 0.35
_REST_COST = 1.0
_REST_SCALE_S = 0.02
# A shorter rest than this is none: the fit through it costs less than telling it apart.
LEAST_REST_S = 0.015
_LEAST_ROOM_S = 0.012
_COARSE, _FINE = 9, 5
# Edges known to a microsecond leave so narrow a valley that a coarse grid would miss it: it is widened at first.
_GLANCE_RAD = 0.015
_BLUR_RAD = (0.04, 0.01, 0.002, 0.0)


@dataclass(frozen=True)
class Model:
    """What all turnarounds of a chain share.

    ``offsets_rad`` (magnets,) or empty; ``shift_rad`` with its prior spread; ``usual_accel_rad_s2`` scales how
    much the acceleration may change; ``faults``: how often the sensor errs.
    """

    spacing_rad: float
    noise: Noise
    usual_accel_rad_s2: float
    offsets_rad: Array = field(default_factory=lambda: np.zeros(0))
    shift_rad: float = 0.0
    shift_sd_rad: float = 0.02
    faults: Faults = field(default_factory=Faults)

    @property
    def unseen_cost(self) -> float:
        """−2·log chance of a pass that gives no edge."""
        return -2.0 * math.log(self.faults.miss_chance)

    @property
    def nowhere_cost(self) -> float:
        """−2·log density, in 1/s, of an edge from nowhere."""
        return -2.0 * math.log(self.faults.spurious_per_s)


@dataclass(frozen=True)
class Nearby:
    """Edges around a turnaround (k,), those first read as faults among them.

    ``used``: read as real at first; ``steps`` (k,): spacings from the real edge before to each real one; ``split``
    of the used ones lie before the turnaround; ``base`` and ``sense``: the first one's magnet count and sense.
    ``distance_cost`` (magnets,): −2·log chance of each number of magnets, modulo theirs, from the first of these
    edges along the shaft to the last (None where that is not known from elsewhere). ``offset_rad`` (k,): each edge's
    offset along the shaft, as far as its own stroke tells; not used where the model has a table.
    """

    t_s: Array
    used: NDArray[np.bool_]
    steps: Integers
    split: int
    base: int
    sense: int
    distance_cost: Array | None = None
    offset_rad: Array | None = None

    def but(self, used: NDArray[np.bool_], steps: Integers, split: int) -> Nearby:
        """The same edges read otherwise."""
        return dataclasses.replace(self, used=used, steps=steps, split=split)


@dataclass(frozen=True)
class Verdict:
    """The best vertex of a reading: −2·log likelihood with prior odds, misfit, the rest and its doubt."""

    cost: float
    misfit: float
    vertex_s: float
    vertex_sd_s: float = 0.0
    rest_s: float = 0.0
    rest_sd_s: float = 0.0


class Reading:
    """A way to read the edges: which are real, where among them the wheel turns, which magnet comes after.

    ``way``: how many spacings the first edge after the turnaround lies back from the last one before it;
    ``change_s``: how long the pull takes to come where the wheel turns straight round.
    """

    def __init__(self, model: Model, near: Nearby, way: int, change_s: float = CHANGE_S) -> None:
        self.near, self.way, self.model = near, way, model
        rows = np.flatnonzero(near.used)
        self._t = near.t_s[rows]
        split = near.split
        steps = near.steps[rows].copy()
        steps[0] = 0
        steps[split] = -way
        steps[split + 1 :] *= -1
        count = np.cumsum(steps)
        ahead = np.where(np.arange(len(rows)) < split, 1.0, -1.0)
        angle = count * model.spacing_rad
        if len(model.offsets_rad):
            places = (near.base + near.sense * count) % len(model.offsets_rad)
            angle = angle + near.sense * model.offsets_rad[places]
        elif near.offset_rad is not None:
            angle = angle + near.sense * near.offset_rad[rows]
        self._angle = angle - ahead * model.shift_rad
        gaps = np.maximum(np.diff(self._t), 1e-5)
        speed = np.maximum(np.abs(steps[1:]), 0.3) * model.spacing_rad / gaps
        slower = np.minimum(np.append(speed, speed[-1]), np.append(speed[0], speed))
        self._sigma = model.noise.sigma(slower)
        # Densities of angles become densities of times; an edge left out has its own.
        left_out = len(near.t_s) - len(rows)
        skipped = int(np.abs(np.delete(steps, split)[1:]).sum()) - (len(rows) - 2)
        self._fixed = model.nowhere_cost * left_out + model.unseen_cost * skipped
        self._fixed -= 2.0 * float(np.log(np.maximum(slower, 1.0)).sum())
        if near.distance_cost is not None:
            self._fixed += float(near.distance_cost[near.sense * int(count[-1]) % len(near.distance_cost)])
        self.gap_s = float(self._t[split] - self._t[split - 1])
        usual = model.usual_accel_rad_s2
        self._prior = Prior(model.noise.jerk_density, usual, model.shift_sd_rad, model.spacing_rad, change_s)

    @property
    def edges(self) -> int:
        """Number of edges taken as real."""
        return len(self._t)

    def guess(self) -> float:
        """A rough cost, with or without a rest, to tell which readings deserve a closer look."""
        shares = np.linspace(0.05, 0.95, _COARSE)
        costs = [math.inf]
        if self.gap_s < LONGEST_S:
            costs.append(float(self._weigh(shares, np.zeros(_COARSE), _GLANCE_RAD)[0].min()))
        room = self._room_s()
        if room > _LEAST_ROOM_S:
            moving, shares = _mesh(np.geomspace(0.02, room, _COARSE), shares[1::2])
            costs.append(float(self._weigh(shares, self.gap_s - moving, _GLANCE_RAD)[0].min()) + _REST_COST)
        return min(costs) + self._fixed

    def judge(self) -> Verdict:
        """The best vertex, with a rest if that explains the edges better."""
        straight, rested = self.straight(), self._rested()
        return rested if rested is not None and rested.cost < straight.cost else straight

    def straight(self) -> Verdict:
        """The best vertex without a rest; infinitely dear where the gap is too long to be without one."""
        if self.gap_s > LONGEST_S:
            return Verdict(math.inf, math.inf, float(self._t[self.near.split - 1]))
        shares = np.linspace(0.02, 0.98, 2 * _COARSE)
        for blur, finer in zip(_BLUR_RAD[1:], (_COARSE, _COARSE, _COARSE), strict=True):
            cost = self._weigh(shares, np.zeros(len(shares)), blur)[0]
            shares = _around(shares, cost, finer)
        return self._verdict(shares, np.zeros(len(shares)), 0.0)

    def _rested(self) -> Verdict | None:
        """The best vertex with a rest; None where there is no room for one."""
        room = self._room_s()
        if room < _LEAST_ROOM_S:
            return None
        # What is left of the gap is how long the wheel moved unseen.
        moving, shares = np.geomspace(0.01, room, _COARSE), np.linspace(0.05, 0.95, _COARSE)
        for blur, finer in zip(_BLUR_RAD, (2 * _FINE, _FINE, _FINE, 2 * _FINE + 1), strict=True):
            m, s = _mesh(moving, shares)
            cost = self._weigh(s, self.gap_s - m, blur)[0].reshape(len(moving), len(shares))
            moving = np.clip(_around(moving, cost.min(axis=1), finer), 0.005, room)
            shares = _around(shares, cost.min(axis=0), finer)
        m, s = _mesh(moving, shares)
        spread = self._rest_spread(float(moving[len(moving) // 2]), shares)
        return self._verdict(s, self.gap_s - m, spread)

    def _room_s(self) -> float:
        """How long at most the wheel moved unseen, if it rested as well."""
        return min(self.gap_s - LEAST_REST_S, LONGEST_S)

    def _rest_spread(self, moving: float, shares: Array) -> float:
        """Standard deviation of the rest, from how the cost curves along it."""
        wide = np.linspace(max(shares[0] - 0.1, 0.0), min(shares[-1] + 0.1, 1.0), 15)
        side = 0.005
        costs = [
            float(self._weigh(wide, np.full(15, self.gap_s - m))[0].min())
            for m in (moving - side, moving, moving + side)
            if m > 0.0
        ]
        if len(costs) < 3:
            return 0.02
        curve = (costs[0] - 2.0 * costs[1] + costs[2]) / side**2
        return min(math.sqrt(2.0 / curve), 0.05) if curve > 0.0 else 0.05

    def _weigh(
        self, shares: Array, rest_s: Array, blur_rad: float = 0.0
    ) -> tuple[Array, Array, Array, Array]:
        """Costs, misfits, vertex times and angles for vertices at shares of the gap that a rest leaves."""
        split = self.near.split
        vertex = self._t[split - 1] + shares * np.maximum(self.gap_s - rest_s, 1e-6)
        sigma = np.hypot(self._sigma, blur_rad)
        found = weigh_vertices(self._prior, self._t, self._angle, sigma, split, vertex, rest_s)
        idle = self._idle_cost(vertex - self._t[split - 1]) + self._idle_cost(
            self._t[split] - vertex - rest_s
        )
        return found.cost + idle, found.misfit, vertex, found.angle_rad

    def _idle_cost(self, unseen_s: Array) -> Array:
        """Cost of turning on unseen for far longer than a braked or pulled wheel takes from magnet to magnet."""
        usual = math.sqrt(2.0 * self.model.spacing_rad / self.model.usual_accel_rad_s2)
        cost: Array = (
            np.maximum(np.log(np.maximum(unseen_s, 1e-6) / usual / _SLOW), 0.0) / _SLOW_SPREAD
        ) ** 2
        return cost

    def _verdict(self, shares: Array, rest_s: Array, spread_s: float) -> Verdict:
        costs, misfits, vertices, angles = self._weigh(shares, rest_s)
        at = int(np.argmin(costs))
        cost = float(costs[at]) + self._fixed + self._unseen_cost(float(angles[at]))
        rest = float(rest_s[at])
        if rest > 0.0:
            doubt = min(max(spread_s, 1e-3), rest + _REST_SCALE_S)
            cost += _REST_COST + 2.0 * math.log((rest + _REST_SCALE_S) / doubt)
        own = self._vertex_spread(float(vertices[at]), rest)
        return Verdict(cost, float(misfits[at]), float(vertices[at]), own, rest, spread_s)

    def _vertex_spread(self, vertex: float, rest_s: float) -> float:
        """Standard deviation of the vertex's time, from how the cost curves there."""
        side = 0.002
        # Edges at the same microsecond leave no gap to share.
        moving = max(self.gap_s - rest_s, 1e-6)
        shares = (vertex + np.array([-side, 0.0, side]) - self._t[self.near.split - 1]) / moving
        cost = self._weigh(shares, np.full(3, rest_s))[0]
        curve = float(cost[0] - 2.0 * cost[1] + cost[2]) / side**2
        return min(math.sqrt(2.0 / curve), 0.1) if curve > 0.0 else 0.1

    def _unseen_cost(self, top: float) -> float:
        """Magnets that the wheel must have passed between the edges without their showing."""
        split, spacing = self.near.split, self.model.spacing_rad
        cost = 0.0
        for edge in (split - 1, split):
            depth = top - float(self._angle[edge])
            cost += self.model.unseen_cost * max(math.floor((depth - REACH_RAD) / spacing), 0)
            cost += _GRAZE_COST * (depth % spacing < REACH_RAD)
            # The wheel cannot turn before the edge that it has passed.
            cost += 4.0 * max(-depth / REACH_RAD - 0.5, 0.0)
        return cost


def _mesh(a: Array, b: Array) -> tuple[Array, Array]:
    """All pairs of two grids, flat."""
    first, second = np.meshgrid(a, b, indexing="ij")
    return first.ravel(), second.ravel()


def _around(values: Array, cost: Array, count: int) -> Array:
    """A finer grid between the neighbours of the best value."""
    at = int(np.argmin(cost))
    return np.linspace(values[max(at - 1, 0)], values[min(at + 1, len(values) - 1)], count)
