"""How a phase's torque went around the greatest power, if it was steady but for one change, of all times and lengths.

A pull fades towards the strap's end, a brake is applied: each is one change, and before and after it a muscle's torque
is steady. Which change it was is left open: what is asked for is the mean over all of them, each as likely as the
edges make it. The spline, which knows of no such thing, blurs a change and lets noise through where there is none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brakebeat.reference.cosine_step import CosineStep
from brakebeat.reference.gist import jerk_covariance
from brakebeat.reference.onset import ONSET_SHARE
from brakebeat.reference.phases import WINDOW_S, Phase
from brakebeat.reference.rig_physics import Physics
from brakebeat.reference.spline import Array, Integers
from brakebeat.reference.stroke_edges import StrokeEdges

# Edges looked at: so long before the greatest power, a pull's longer, and so long after it; not those of the pull's own
# coming, nor much beyond φ = 0, where it has gone.
_PULL_BEFORE_S, _BRAKE_BEFORE_S, _AFTER_S = 0.6, 0.4, 0.4
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
_WANDERS, _WANDER_S, _WANDER_COST = (0.01, 0.03, 0.1, 0.3), 0.1, 2.0
_FIRST_WANDER = 0.03
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

    ``power_w``: the greatest 50 ms mean of the power under each, with its variance; ``onset_s``: when the torque passes
    a tenth of its height.
    """

    weight: Array
    power_w: Array
    variance_w2: Array
    onset_s: Array

    def mean_power_w(self) -> tuple[float, float]:
        """Mean and standard deviation of the greatest power."""
        mean = float(self.weight @ self.power_w)
        return mean, float(np.sqrt(self.weight @ (self.variance_w2 + (self.power_w - mean) ** 2)))

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
    near = edges.within(first, last, _MOST_EDGES)
    if len(near.t_s) < _FEWEST or float(np.abs(phase.accel_rad_s2).max()) <= 0.0:
        return None
    window = _Window(near, phase, physics, top_s)
    if len(window.grid_s) <= _LAG + 1:
        return None
    return window.changes()


@dataclass(frozen=True)
class _Trials:
    """Changes (c,): their beginnings and lengths; what the three unknowns of each (the torque left, the change, its
    slope) add to the edges' angles, (n, 3, c)."""

    begun_s: Array
    length_s: Array
    angles: Array


@dataclass(frozen=True)
class _Weighed:
    """Trials (c,) under one wander: costs (−2·log likelihood), unknowns (c, 3), and what is needed for speeds."""

    level: _Level
    cost: Array
    unknowns: Array
    information: Array
    whitened: Array


class _Level:
    """A wander's jerk density: the edges' covariance, whitened; angle and speed at the first edge are free."""

    def __init__(self, window: _Window, wander: float) -> None:
        x = window.x_s
        self.jerk_density = (wander * window.usual_rad_s2) ** 2 / _WANDER_S
        covariance = self.jerk_density * window.jerk + np.diag(window.sigma_rad**2)
        root = np.linalg.cholesky(covariance)
        self.whiten = np.linalg.inv(root)
        self.free = self.whiten @ np.column_stack([np.ones(len(x)), x])
        self.basis, self.triangle = np.linalg.qr(self.free)
        self.fixed_cost = 2.0 * float(
            np.log(np.diag(root)).sum() + np.log(np.abs(np.diag(self.triangle))).sum()
        )

    def told(self, values: Array) -> Array:
        """Values at the edges (n, …), whitened, and what angle and speed at the first edge explain taken off."""
        white = self.whiten @ values.reshape(len(values), -1)
        left: Array = (white - self.basis @ (self.basis.T @ white)).reshape(values.shape)
        return left


class _Window:
    """The edges around the greatest power, and a grid of times on which speeds are wanted."""

    def __init__(self, edges: StrokeEdges, phase: Phase, physics: Physics, top_s: float) -> None:
        self._phase = phase
        self.origin_s = float(edges.t_s[0])
        self.x_s = edges.t_s - self.origin_s
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
        trials = self._trials(*self._finer())
        weighed = [self._weigh(_Level(self, wander), trials) for wander in _WANDERS]
        cost = np.concatenate([each.cost + number * _WANDER_COST for number, each in enumerate(weighed)])
        kept = [np.flatnonzero(each < cost.min() + _KEPT) for each in cost.reshape(len(weighed), -1)]
        power, variance, onset = [], [], []
        for each, which in zip(weighed, kept, strict=True):
            if len(which):
                found = self._greatest(each, trials, which)
                power.append(found[0])
                variance.append(np.full(len(which), found[1]))
                onset.append(self._onsets(trials, each, which))
        chosen = np.concatenate([number * len(trials.begun_s) + which for number, which in enumerate(kept)])
        weight = np.exp(-0.5 * (cost[chosen] - cost.min()))
        return Changes(
            weight / weight.sum(), np.concatenate(power), np.concatenate(variance), np.concatenate(onset)
        )

    def _finer(self) -> tuple[Array, Array]:
        """Beginnings and lengths around those that a first look finds likely."""
        pulled = self._phase.sign > 0
        low, high = (self._top_s + side for side in (_FADES_S if pulled else _COMES_S))
        low = max(low, 0.0) if pulled else low
        high = min(high, float(self._phase.t_s[-1]) - self.origin_s if pulled else float(self.x_s[-1]))
        begun = np.linspace(low, high, _BEGINNINGS)
        trials = self._trials(begun, _LENGTHS_S)
        cost = self._weigh(_Level(self, _FIRST_WANDER), trials).cost
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
        return _Trials(
            begun, length, np.stack([np.broadcast_to(0.5 * x * x, change.shape), change, slope], 1)
        )

    def _speeds(self, trials: _Trials, which: Integers) -> Array:
        """What the unknowns of some trials add to the speeds on the grid, (m, 3, k)."""
        x, begun = self.grid_s[:, None], trials.begun_s[which]
        step = CosineStep.after(x - begun, trials.length_s[which])
        change, slope = step.speed, step.late_speed
        if self._phase.sign > 0:
            change, slope = x - change, x * (0.5 * x - begun) - slope
        return np.stack([np.broadcast_to(x, change.shape), change, slope], 1)

    def _weigh(self, level: _Level, trials: _Trials) -> _Weighed:
        told = level.told(self.angle_rad)
        whitened = level.told(trials.angles)
        known = self._prior_sd**-2.0
        # Trials first: each has three equations of its own.
        rows = np.ascontiguousarray(np.moveaxis(whitened, 2, 0))
        information = np.swapaxes(rows, 1, 2) @ rows + np.diag(known)
        pull = told @ rows + self._prior * known
        unknowns = np.asarray(np.linalg.solve(information, pull[..., None])[..., 0], float)
        cost: Array = float(told @ told) + level.fixed_cost - (unknowns * pull).sum(axis=1)
        cost += np.linalg.slogdet(information)[1]
        cost += _WRONG_WAY_COST * (self._phase.sign * unknowns[:, 1] < 0.0)
        return _Weighed(level, cost, unknowns, information, rows)

    def _greatest(self, weighed: _Weighed, trials: _Trials, which: Integers) -> tuple[Array, float]:
        """The greatest 50 ms mean of the power under some trials, W, and its variance under the likeliest of them."""
        level, unknowns = weighed.level, weighed.unknowns[which].T
        speeds = self._speeds(trials, which)
        left = self.angle_rad[:, None] - (trials.angles[:, :, which] * unknowns).sum(axis=1)
        white = level.whiten @ left
        start = np.linalg.solve(level.triangle, level.basis.T @ white)
        jerk = level.jerk_density * speed_covariance(self.grid_s, self.x_s) @ level.whiten.T
        speed = start[1] + jerk @ (white - level.basis @ (level.basis.T @ white))
        speed = np.maximum(speed + (speeds * unknowns).sum(axis=1), 0.0)
        work = self._phase.sign * (0.5 * self.inertia_kg_m2 * speed**2 + self._lost_j[:, None])
        mean = (work[_LAG:] - work[:-_LAG]) / WINDOW_S
        top = mean.argmax(axis=0)
        best = int(np.argmin(weighed.cost[which]))
        ends = np.array([top[best], top[best] + _LAG])
        covariance = self._covariance(
            weighed, int(which[best]), trials, speeds[ends, :, best], ends, jerk[ends]
        )
        gain = self.inertia_kg_m2 * speed[ends, best] * np.array([-1.0, 1.0]) / WINDOW_S
        return mean[top, np.arange(len(which))], float(max(gain @ covariance @ gain, 0.0))

    def _covariance(
        self, weighed: _Weighed, trial: int, trials: _Trials, speeds: Array, rows: Integers, jerk: Array
    ) -> Array:
        """Covariance of the speeds at some rows of the grid under a trial."""
        level = weighed.level
        x = np.maximum(self.grid_s[rows], 0.0)
        low, apart = np.minimum.outer(x, x), np.abs(np.subtract.outer(x, x))
        # Of twice integrated white noise, less what the edges tell, …
        covariance = level.jerk_density * low * low * (low / 3.0 + 0.5 * apart) - jerk @ jerk.T
        # … and what they do not tell of the start and of the three unknowns.
        start = (np.array([0.0, 1.0]) - jerk @ level.free) @ np.linalg.inv(level.triangle)
        white = level.whiten @ trials.angles[:, :, trial]
        change = speeds - jerk @ weighed.whitened[trial]
        change = change - start @ (level.basis.T @ white)
        covariance = covariance + start @ start.T
        total: Array = covariance + change @ np.linalg.solve(weighed.information[trial], change.T)
        return total

    def _onsets(self, trials: _Trials, weighed: _Weighed, which: Integers) -> Array:
        """When the torque passes a tenth of its height, on its way up or down."""
        height = np.abs(weighed.unknowns[which, 1])
        rest = self._phase.sign * (weighed.unknowns[which, 0] + self.friction_rad_s2)
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
