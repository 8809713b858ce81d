"""How a phase's torque went around the greatest power, if it was steady but for one change, of all times and lengths.

A pull fades towards the strap's end, a brake is applied: each is one change, and before and after it a muscle's torque
is steady. Which change it was is left open: what is asked for is the mean over all of them, each as likely as the
edges make it. The spline, which knows of no such thing, blurs a change and lets noise through where there is none.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from brakebeat.reference.figures.onset import ONSET_SHARE
from brakebeat.reference.figures.phases import WINDOW_S, Phase
from brakebeat.reference.figures.stroke_edges import StrokeEdges
from brakebeat.reference.model.cosine_step import CosineStep
from brakebeat.reference.model.spline import Array, Integers
from brakebeat.reference.rig_physics import Physics
from brakebeat.reference.turnaround.gist import jerk_covariance, whiten

# Edges looked at: so long before the greatest power, a pull's longer, and so long after it; not those of the pull's own
# coming, nor much beyond φ = 0, where it has gone.
_PULL_BEFORE_S, _BRAKE_BEFORE_S, _AFTER_S = 0.5, 0.4, 0.4
_COMING_S, _BEYOND_S = 0.1, 0.1
_FEWEST, _MOST_EDGES = 8, 48
# Where the change begins, from the greatest power on: a pull fades after it, a brake is applied before it.
_FADES_S, _COMES_S = (-0.2, 0.4), (-0.4, 0.1)
_BEGINNINGS, _LENGTHS_S = 31, np.geomspace(0.03, 0.4, 6)
_FINER_BEGINNINGS, _FINER_LENGTHS = 15, 5
_SHORTEST_S, _LONGEST_S = 0.02, 0.5
# Changes less likely than the best by so much, as −2·log, are not looked at any closer.
_NEAR, _KEPT = 12.0, 14.0
# How steady a torque is otherwise: parts of the greatest one by which it wanders within a tenth of a second, each less
# likely than the one before by so much (common experience with muscles, no source).
_WANDERS, _WANDER_S, _WANDER_COST = (0.01, 0.03, 0.1, 0.3), 0.1, 4.0
# The one that a first look assumes.
_FIRST = 1
# Priors as parts of the greatest acceleration: what is left of the torque beside the change; the change itself; how
# the torque goes on, in a second: a pull weakens as the wheel gets faster.
_REST_SD, _CHANGE_SD = 0.05, 2.0
_PULL_SLOPE, _PULL_SLOPE_SD, _BRAKE_SLOPE_SD = -0.5, 0.5, 3.0
_WRONG_WAY_COST = 1e3
_STEP_S = 0.005
_LAG = round(WINDOW_S / _STEP_S)


@dataclass(frozen=True)
class Changes:
    """Changes (m,) with their weights, which add up to 1.

    ``greatest_w``: the greatest 50 ms mean of the power; ``power_w``: that under each, with its variance; ``onset_s``:
    when the torque passes a tenth of its height.
    """

    greatest_w: float
    weight: Array
    power_w: Array
    variance_w2: Array
    onset_s: Array

    def mean_power_w(self) -> tuple[float, float]:
        """The greatest power and its standard deviation."""
        off = self.power_w - self.weight @ self.power_w
        return self.greatest_w, float(np.sqrt(self.weight @ (self.variance_w2 + off**2)))

    def mean_onset_s(self) -> float:
        """Mean onset."""
        return float(self.weight @ self.onset_s)


def changes(edges: StrokeEdges, phase: Phase, physics: Physics, top_s: float) -> Changes | None:
    """All changes around the greatest power, which the spline has at ``top_s``; None where there are too few edges.

    Args:
        edges: of the whole stroke.
    """
    first, last = max(float(phase.t_s[0]), top_s - _BRAKE_BEFORE_S), top_s + _AFTER_S
    if phase.sign > 0:
        first = max(float(phase.t_s[0]) + _COMING_S, top_s - _PULL_BEFORE_S)
        last = min(last, float(phase.t_s[-1]) + _BEYOND_S)
        if top_s - 0.5 * WINDOW_S < first:
            # On a light wheel the power is greatest while the pull comes: no change after that explains it.
            return None
    near = edges.within(first, last, _MOST_EDGES)
    if len(near.t_s) < _FEWEST or float(np.abs(phase.accel_rad_s2).max()) <= 0.0:
        return None
    window = _Window(near, phase, physics, top_s)
    if len(window.grid_s) <= _LAG + 1:
        return None
    return window.changes()


@dataclass(frozen=True)
class _Trials:
    """Changes (c,): their beginnings and lengths; what they, and their slopes, add to the edges' angles, (n, c)."""

    begun_s: Array
    length_s: Array
    change: Array
    slope: Array


class _Levels:
    """How the torque may wander otherwise, (l,): jerk densities and the edges' covariances, ``whiten`` (l, n, n). Angle
    and speed at the first edge are free; ``tell`` whitens, and takes off what those explain."""

    def __init__(self, window: _Window, wanders: Array) -> None:
        x = window.x_s
        self.jerk_density = (wanders * window.usual_rad_s2) ** 2 / _WANDER_S
        covariance = self.jerk_density[:, None, None] * window.jerk + np.diag(window.sigma_rad**2)
        root = np.linalg.cholesky(covariance)
        self.whiten = np.linalg.inv(root)
        self.free = self.whiten @ np.column_stack([np.ones(len(x)), x])
        self.basis, self.triangle = np.linalg.qr(self.free)
        self.tell = self.whiten - self.basis @ (np.swapaxes(self.basis, 1, 2) @ self.whiten)
        roots = np.hstack([np.diagonal(each, axis1=1, axis2=2) for each in (root, self.triangle)])
        self.fixed_cost = 2.0 * np.log(np.abs(roots)).sum(axis=1)


@dataclass(frozen=True)
class _Weighed:
    """Trials under some wanders: costs (l, c), −2·log likelihood; the three unknowns of each (the torque left, the
    change, its slope), (3, l, c), and their information's Cholesky factor (3, 3, l, c; its upper triangle)."""

    cost: Array
    unknowns: Array
    factor: Array


class _Window:
    """The edges around the greatest power, and a grid of times on which speeds are wanted."""

    def __init__(self, edges: StrokeEdges, phase: Phase, physics: Physics, top_s: float) -> None:
        self._phase = phase
        self.origin_s = float(edges.t_s[0])
        self.x_s = edges.t_s - self.origin_s
        self._fall = 0.5 * self.x_s * self.x_s
        self.angle_rad = edges.angle_rad - edges.angle_rad.mean()
        self.sigma_rad = edges.sigma_rad
        self.jerk = jerk_covariance(self.x_s)
        self.usual_rad_s2 = float(np.abs(phase.accel_rad_s2).max())
        self.inertia_kg_m2 = physics.inertia_kg_m2 or 1.0
        friction = physics.friction_nm(phase.speed_rad_s)
        self.friction_rad_s2 = float(friction.max()) / self.inertia_kg_m2
        start = max(float(phase.t_s[0]), top_s - _AFTER_S, float(edges.t_s[0]) - 0.03)
        end = min(float(phase.t_s[-1]), top_s + _AFTER_S, float(edges.t_s[-1]) + 0.03)
        self.grid_s = np.arange(start, end, _STEP_S) - self.origin_s
        self._top_s = top_s - self.origin_s
        lost = np.interp(self.grid_s + self.origin_s, phase.t_s, friction * phase.speed_rad_s)
        self._lost_j = np.append(0.0, np.cumsum(0.5 * (lost[1:] + lost[:-1]))) * _STEP_S
        self._prior, self._prior_sd = self._priors()

    @cached_property
    def _speed_covariance(self) -> Array:
        return speed_covariance(self.grid_s, self.x_s)

    def _priors(self) -> tuple[Array, Array]:
        """Means and standard deviations of the three unknowns."""
        usual, sign = self.usual_rad_s2, self._phase.sign
        slope, slope_sd = (_PULL_SLOPE, _PULL_SLOPE_SD) if sign > 0 else (0.0, _BRAKE_SLOPE_SD)
        return (
            np.array([-self.friction_rad_s2, sign * usual, slope * usual]),
            usual * np.array([_REST_SD, _CHANGE_SD, slope_sd]),
        )

    def changes(self) -> Changes:
        """All changes, first on a coarse grid under one wander, then on a finer one under all."""
        levels = _Levels(self, np.array(_WANDERS))
        trials = self._trials(*self._finer(levels))
        weighed = self._weigh(levels, trials, slice(None))
        cost = weighed.cost + np.arange(len(_WANDERS))[:, None] * _WANDER_COST
        least = cost.min()
        likely = cost < least + _KEPT
        speeds = np.empty((3, len(self.grid_s), cost.shape[1]))
        once = np.flatnonzero(likely.any(axis=0))
        speeds[:, :, once] = self._speeds(trials, once)
        courses, variance, onset, weight = [], [], [], []
        for level, own in enumerate(cost):
            which = np.flatnonzero(likely[level])
            if len(which):
                found = self._greatest(levels, level, trials, weighed, which, speeds[:, :, which])
                courses.append(found[0])
                variance.append(np.full(len(which), found[1]))
                onset.append(self._onsets(trials, weighed.unknowns[:, level, which], which))
                weight.append(np.exp(-0.5 * (own[which] - least)))
        weights = np.concatenate(weight)
        weights /= weights.sum()
        course = np.concatenate(courses, axis=1)
        power = course.max(axis=0)
        # A pull's power has a broad top, on which each course's own greatest is too great by the noise; a brake's is
        # sharp.
        greatest = (course @ weights).max() if self._phase.sign > 0 else weights @ power
        return Changes(float(greatest), weights, power, np.concatenate(variance), np.concatenate(onset))

    def _finer(self, levels: _Levels) -> tuple[Array, Array]:
        """Beginnings and lengths around those that a first look finds likely."""
        pulled = self._phase.sign > 0
        low, high = (self._top_s + side for side in (_FADES_S if pulled else _COMES_S))
        low = max(low, 0.0) if pulled else low
        high = min(high, float(self._phase.t_s[-1]) - self.origin_s if pulled else float(self.x_s[-1]))
        begun = np.linspace(low, high, _BEGINNINGS)
        trials = self._trials(begun, _LENGTHS_S)
        cost = self._weigh(levels, trials, slice(_FIRST, _FIRST + 1)).cost[0]
        near = cost < cost.min() + _NEAR
        apart, ratio = begun[1] - begun[0], _LENGTHS_S[1] / _LENGTHS_S[0]
        about, length = trials.begun_s[near], trials.length_s[near]
        return (
            np.linspace(about.min() - apart, about.max() + apart, _FINER_BEGINNINGS),
            np.geomspace(
                max(length.min() / ratio, _SHORTEST_S), min(length.max() * ratio, _LONGEST_S), _FINER_LENGTHS
            ),
        )

    def _trials(self, begun_s: Array, length_s: Array) -> _Trials:
        begun, length = (each.ravel() for each in np.meshgrid(begun_s, length_s))
        x = self.x_s[:, None]
        step = CosineStep.after(x - begun, length)
        change, slope = step.way, step.late_way
        if self._phase.sign > 0:
            # A pull is there until it fades: what the step takes away.
            change, slope = 0.5 * x * x - change, x * x * (x / 6.0 - 0.5 * begun) - slope
        return _Trials(begun, length, change, slope)

    def _speeds(self, trials: _Trials, which: Integers) -> Array:
        """What the unknowns of some trials add to the speeds on the grid, (3, m, k)."""
        x, begun = self.grid_s[:, None], trials.begun_s[which]
        step = CosineStep.after(x - begun, trials.length_s[which])
        change, slope = step.speed, step.late_speed
        if self._phase.sign > 0:
            change, slope = x - change, x * (0.5 * x - begun) - slope
        return np.stack([np.broadcast_to(x, change.shape), change, slope])

    def _angles(self, trials: _Trials, which: Integers) -> Array:
        """What the unknowns of some trials add to the edges' angles, (3, n, k)."""
        change, slope = trials.change[:, which], trials.slope[:, which]
        return np.stack([np.broadcast_to(self._fall[:, None], change.shape), change, slope])

    def _weigh(self, levels: _Levels, trials: _Trials, which: slice) -> _Weighed:
        tell, count = levels.tell[which], len(trials.begun_s)
        told, fall = np.moveaxis(tell @ np.column_stack([self.angle_rad, self._fall]), 2, 0)
        both = tell @ np.hstack([trials.change, trials.slope])
        change, slope = both[:, :, :count], both[:, :, count:]
        known = self._prior_sd**-2.0
        # Three equations for each trial: their upper triangle, and the right-hand side.
        table = np.zeros((3, 4, len(tell), count))
        table[0, 0] = (fall * fall).sum(axis=1)[:, None]
        table[0, 3] = (fall * told).sum(axis=1)[:, None]
        beside = np.stack([fall, told], axis=1) @ both
        table[0, 1], table[0, 2] = beside[:, 0, :count], beside[:, 0, count:]
        table[1, 3], table[2, 3] = beside[:, 1, :count], beside[:, 1, count:]
        table[1, 1], table[2, 2] = (
            np.einsum("lnc,lnc->lc", change, change),
            np.einsum("lnc,lnc->lc", slope, slope),
        )
        table[1, 2] = np.einsum("lnc,lnc->lc", change, slope)
        for row in range(3):
            table[row, row] += known[row]
            table[row, 3] += known[row] * self._prior[row]
        whiten(table)
        right, unknowns = table[:, 3], np.empty((3, len(tell), count))
        for row in (2, 1, 0):
            left = right[row] - (table[row, row + 1 : 3] * unknowns[row + 1 :]).sum(axis=0)
            unknowns[row] = left / table[row, row]
        cost: Array = ((told * told).sum(axis=1) + levels.fixed_cost[which])[:, None] - (right * right).sum(
            axis=0
        )
        cost += 2.0 * np.log(table[0, 0] * table[1, 1] * table[2, 2])
        cost += _WRONG_WAY_COST * (self._phase.sign * unknowns[1] < 0.0)
        return _Weighed(cost, unknowns, table[:, :3])

    def _greatest(
        self,
        levels: _Levels,
        level: int,
        trials: _Trials,
        weighed: _Weighed,
        which: Integers,
        speeds: Array,
    ) -> tuple[Array, float]:
        """50 ms means of the power under some trials (grid, k), W, and the variance of the greatest one under the
        likeliest of them.

        Args:
            speeds: what the unknowns of these trials add to the speeds on the grid, (3, grid, k).
        """
        unknowns, angles = weighed.unknowns[:, level, which], self._angles(trials, which)
        basis = levels.basis[level]
        white = levels.whiten[level] @ (self.angle_rad[:, None] - (angles * unknowns[:, None]).sum(axis=0))
        start = np.linalg.solve(levels.triangle[level], basis.T @ white)
        jerk = levels.jerk_density[level] * self._speed_covariance @ levels.whiten[level].T
        speed = start[1] + jerk @ (white - basis @ (basis.T @ white))
        speed = np.maximum(speed + (speeds * unknowns[:, None]).sum(axis=0), 0.0)
        work = self._phase.sign * (0.5 * self.inertia_kg_m2 * speed**2 + self._lost_j[:, None])
        mean = (work[_LAG:] - work[:-_LAG]) / WINDOW_S
        top = mean.argmax(axis=0)
        best = int(np.argmin(weighed.cost[level, which]))
        ends = np.array([top[best], top[best] + _LAG])
        # What the edges tell of the speeds there, and of the three unknowns.
        left = speeds[:, ends, best].T - jerk[ends] @ (levels.tell[level] @ angles[:, :, best].T)
        left -= self._start(levels, level, jerk[ends]) @ (
            basis.T @ (levels.whiten[level] @ angles[:, :, best].T)
        )
        factor = np.triu(weighed.factor[:, :, level, which[best]])
        doubt = np.linalg.solve(factor.T, left.T)
        covariance = self._covariance(levels, level, self.grid_s[ends], jerk[ends]) + doubt.T @ doubt
        gain = self.inertia_kg_m2 * speed[ends, best] * np.array([-1.0, 1.0]) / WINDOW_S
        return mean, float(max(gain @ covariance @ gain, 0.0))

    def _start(self, levels: _Levels, level: int, jerk: Array) -> Array:
        """How speeds depend on what the edges do not tell of the start."""
        start: Array = (np.array([0.0, 1.0]) - jerk @ levels.free[level]) @ np.linalg.inv(
            levels.triangle[level]
        )
        return start

    def _covariance(self, levels: _Levels, level: int, x: Array, jerk: Array) -> Array:
        """Covariance of the speeds at some times if the change is known."""
        x = np.maximum(x, 0.0)
        low, apart = np.minimum.outer(x, x), np.abs(np.subtract.outer(x, x))
        # Of twice integrated white noise, less what the edges tell, and what they do not tell of the start.
        covariance = levels.jerk_density[level] * low * low * (low / 3.0 + 0.5 * apart) - jerk @ jerk.T
        start = self._start(levels, level, jerk)
        total: Array = covariance + start @ start.T
        return total

    def _onsets(self, trials: _Trials, unknowns: Array, which: Integers) -> Array:
        """When the torque passes a tenth of its height, on its way up or down."""
        height = np.abs(unknowns[1])
        rest = self._phase.sign * (unknowns[0] + self.friction_rad_s2)
        share = (ONSET_SHARE * (rest + height) - rest) / np.maximum(height, 1e-9)
        part = np.arccos(1.0 - 2.0 * np.clip(share, 1e-3, 0.999)) / np.pi
        onset: Array = self.origin_s + trials.begun_s[which] + trials.length_s[which] * part
        return onset


def speed_covariance(s: Array, x: Array) -> Array:
    """Covariance (m, n) of the speed at times (m,) with the angle at times (n,) under a jerk of white noise of unit
    density that begins at time 0: ∫₀ᵐⁱⁿ (s − u)(x − u)²/2 du."""
    s, x = np.maximum(s, 0.0)[:, None], np.maximum(x, 0.0)[None, :]
    low, apart = np.minimum(s, x), np.abs(s - x)
    earlier = low * low * (low * (low / 8.0 + apart / 3.0) + apart * apart / 4.0)
    later = low * low * low * (low / 8.0 + apart / 6.0)
    covariance: Array = np.where(s <= x, earlier, later)
    return covariance
