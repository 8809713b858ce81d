"""What happened at each turnaround: which magnets were seen twice, and did the wheel stand still for a while.

Both questions are settled by the marginal likelihood of the edges on either side under the same spline model
as the joint fit. A rest is a stretch of time cut out of the record: without it angle, speed and sense run on
smoothly through the vertex, only the acceleration may change there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from brakebeat.reference.noise import Noise
from brakebeat.reference.spline import Array, Factor, Grid, Integers, gram, penalty, project, third

STEP_S = 0.006
# Edges looked at on either side: beyond them nothing depends on the turnaround.
NEAR = 8
# −2·log prior odds: both passes seen; one pass unseen (grazed or missed); more than one.
_WAY_COST = {0: 0.0, 1: 4.0, -1: 8.0, 2: 13.0, -2: 17.0}
# An edge that the first reading put on the other side of the turnaround.
_MOVE_COST = 3.0
_REST_COST = 3.0
_REST_SCALE_S = 0.02
# A shorter rest than this is none: the fit through it costs less than telling it apart.
LEAST_REST_S = 0.015
# The longest that a turning wheel may take between two magnets.
LONGEST_S = 2.5
# Hypotheses that come this close to the best straight one are tried with a rest too.
_WORTH_A_REST = 60.0
# How much the acceleration changes at a turnaround, as a part of the usual one: pulling need not go on where
# braking stopped; out of a rest it starts from nothing.
STRAIGHT_CHANGE = 1.0
REST_CHANGE = 1.0
# How long that takes.
CHANGE_S = 0.05


@dataclass(frozen=True)
class Nearby:
    """Edges around a turnaround (k,): times, steps from each to the next (k − 1,), speeds; ``split`` is the number
    of edges before the turnaround as first read."""

    t_s: Array
    steps: Integers
    speed_rad_s: Array
    split: int


@dataclass(frozen=True)
class Turning:
    """A verdict: ``way`` spacings the first edge after lies back from the last before; the rest and its doubt.

    ``moved``: edges that belong before the turnaround though first read as after it (negative: the reverse).
    ``clear`` tells by how much −2·log likelihood the next best reading of the edges is worse.
    """

    way: int
    moved: int
    rest_s: float
    rest_sd_s: float
    cost: float
    clear: float


@dataclass
class TurnModel:
    """What all turnarounds of a recording share.

    ``offsets_rad`` (magnets,) or empty; ``shift_rad`` with its prior spread; ``usual_accel_rad_s2`` scales how
    much the acceleration may change.
    """

    spacing_rad: float
    noise: Noise
    usual_accel_rad_s2: float
    offsets_rad: Array = field(default_factory=lambda: np.zeros(0))
    shift_rad: float = 0.0
    shift_sd_rad: float = 0.02

    def resolve(self, near: Nearby, base: int, sense: int) -> Turning:
        """The likeliest reading of the edges around a turnaround.

        Args:
            base, sense: the magnet count of the last edge before it as first read, and the sense there.
        """
        readings = {}
        for moved, way in self._readings(near):
            readings[moved, way] = _Reading(self, near, base, sense, moved, way)
        straight = {key: r.cost(0.0) + _prior(*key) for key, r in readings.items()}
        best = min(straight.values())
        found = {}
        for key, reading in readings.items():
            found[key] = (straight[key], 0.0, 0.0)
            if straight[key] < best + _WORTH_A_REST or math.isinf(best):
                rest = reading.best_rest()
                if rest is not None and rest[0] + _prior(*key) < straight[key]:
                    found[key] = (rest[0] + _prior(*key), rest[1], rest[2])
        order = sorted(found, key=lambda key: found[key][0])
        (moved, way), (cost, rest_s, rest_sd) = order[0], found[order[0]]
        clear = found[order[1]][0] - cost if len(order) > 1 else math.inf
        return Turning(way, moved, rest_s, rest_sd, cost, clear)

    def _readings(self, near: Nearby) -> Iterator[tuple[int, int]]:
        for moved in (0, -1, 1, -2, 2):
            if 2 <= near.split + moved <= len(near.t_s) - 2 or moved == 0:
                for way in _WAY_COST if moved == 0 else (0, 1, -1):
                    yield moved, way


def _prior(moved: int, way: int) -> float:
    return _WAY_COST[way] + _MOVE_COST * abs(moved)


class _Reading:
    """One reading of the edges: where the turnaround lies among them and which magnet comes after it."""

    def __init__(self, model: TurnModel, near: Nearby, base: int, sense: int, moved: int, way: int) -> None:
        self._model = model
        self.split = near.split + moved
        # Steps across the first reading's turnaround are not known: there a moved edge makes one step.
        steps = near.steps.copy()
        steps[near.split - 1] = 1
        along = np.concatenate([[0], np.cumsum(steps)])
        ahead = np.where(np.arange(len(along)) < self.split, 1.0, -1.0)
        last, first = along[self.split - 1], along[self.split]
        count = np.where(ahead > 0, along, last - way - (along - first)) - along[near.split - 1]
        angle = count * model.spacing_rad
        if len(model.offsets_rad):
            angle = angle + sense * model.offsets_rad[(base + sense * count) % len(model.offsets_rad)]
        self._angle = angle - ahead * model.shift_rad
        self._extra = ahead * model.shift_sd_rad
        self._t = near.t_s
        self._weight = 1.0 / model.noise.sigma(near.speed_rad_s) ** 2
        self.gap_s = float(near.t_s[self.split] - near.t_s[self.split - 1])

    def cost(self, rest_s: float) -> float:
        """−2·log marginal likelihood with a rest of some length; a gap of seconds cannot be without one."""
        if self.gap_s - rest_s > LONGEST_S:
            return math.inf
        t = np.concatenate([self._t[: self.split], self._t[self.split :] - rest_s])
        grid = Grid.over(float(t[0]) - STEP_S, float(t[-1]) + STEP_S, STEP_S)
        usual = self._model.usual_accel_rad_s2
        close = slice(max(self.split - 2, 0), self.split + 2)
        low, high = float(t[self.split - 1]), float(t[self.split])
        vertex = min(max(vertex_s(t[close], self._angle[close]), low), high)
        precision = turn_precision(grid, vertex, high, rest_s > 0.0, usual)
        jerk = np.minimum(STEP_S / self._model.noise.jerk_density, precision)
        return _evidence(grid, t, self._angle, self._extra, self._weight, jerk)

    def best_rest(self) -> tuple[float, float, float] | None:
        """Cost, length and doubt of the likeliest rest; None where there is no room for one."""
        gap = self.gap_s
        if gap < LEAST_REST_S + 0.015:
            return None
        # What is left of the gap is how long the wheel moved unseen.
        moving = np.geomspace(0.01, min(gap - LEAST_REST_S, LONGEST_S), 10)
        for _ in range(3):
            costs = [self.cost(gap - m) for m in moving]
            at = int(np.argmin(costs))
            low, high = moving[max(at - 1, 0)], moving[min(at + 1, len(moving) - 1)]
            moving = np.linspace(low, high, 6)
        rest = gap - float(moving[int(np.argmin([self.cost(gap - m) for m in moving]))])
        side = 0.004
        bend = [self.cost(rest + x) for x in (-side, 0.0, side)]
        curve = (bend[0] - 2.0 * bend[1] + bend[2]) / side**2
        spread = min(math.sqrt(2.0 / curve) if curve > 0.0 else 0.05, 0.05)
        prior = _REST_COST + 2.0 * math.log((rest + _REST_SCALE_S) / min(spread, rest + _REST_SCALE_S))
        return bend[1] + prior, rest, spread


def turn_precision(grid: Grid, vertex_s: float, after_s: float, rested: bool, usual_accel: float) -> Array:
    """The greatest precision of the jerk in each piece around a turnaround; ∞ away from it.

    Braking is held until the wheel stands; what changes then, changes with the pull: from the vertex on to the
    first edge after it (``after_s``) the acceleration may change by a good part of the usual one.
    """
    middle = grid.start_s + (np.arange(grid.pieces) + 0.5) * grid.step_s
    until = min(max(after_s, vertex_s + 2.0 * grid.step_s), vertex_s + CHANGE_S)
    inside = (middle > vertex_s - 0.5 * grid.step_s) & (middle < until + 0.5 * grid.step_s)
    change = (REST_CHANGE if rested else STRAIGHT_CHANGE) * usual_accel
    return np.where(inside, grid.step_s**2 * max(int(inside.sum()), 1) / change**2, np.inf)


def vertex_s(t_s: Array, angle_rad: Array) -> float:
    """Roughly when the wheel turns, from a few edges on either side (rests cut out): a parabola's vertex."""
    middle = 0.5 * (t_s[0] + t_s[-1])
    curve, slope, _ = np.polyfit(t_s - middle, angle_rad, 2)
    return float(middle - slope / (2.0 * curve)) if curve else float(middle)


def _evidence(grid: Grid, t_s: Array, angle: Array, extra: Array, weight: Array, jerk: Array) -> float:
    """−2·log marginal likelihood of angles under the spline prior, with one shared unknown of unit prior."""
    first, rows = grid.basis(t_s)
    band = gram(grid, first, rows, weight) + penalty(grid, jerk)
    factor = Factor(band)
    both = np.column_stack([angle, extra])
    pushed = project(grid, first, rows, both * weight[:, None])
    solved = factor.solve(pushed)
    inside = 1.0 + extra @ (weight * extra) - pushed[:, 1] @ solved[:, 1]
    unknown = (extra @ (weight * angle) - pushed[:, 1] @ solved[:, 0]) / inside
    spline = solved[:, 0] - solved[:, 1] * unknown
    fitted = (spline[first[:, None] + np.arange(4)] * rows).sum(axis=1)
    residual = angle - extra * unknown - fitted
    misfit = weight @ residual**2 + jerk @ third(grid, spline) ** 2 + unknown**2
    # The step's power belongs to the penalty's determinant: the grids compared differ in length.
    smooth = np.log(jerk / grid.step_s**6).sum()
    return float(misfit + factor.log_determinant + math.log(inside) - np.log(weight).sum() - smooth)
