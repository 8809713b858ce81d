"""The joint fit: one spline a bout, the magnets' offsets and the sense's shift, and the scales of it all.

Edge i, stamped t with standard deviation σ_t at speed ω, tells the angle with variance (ω·σ_t)² + σ_a². The
jerk's density q and both noises are chosen by the marginal likelihood of the edges. Jerk comes in bursts (a
brake is applied, a pull begins), so it is given Student's distribution: where it is great the penalty eases
(iterated to convergence as expectation and maximisation). Edges far off are distrusted in the same manner.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.bouts import Bout
from brakebeat.reference.spline import Array, Factor, gram, penalty, project, third

# Prior standard deviations of a magnet's offset and of half the hysteresis, rad.
OFFSET_PRIOR_RAD = 0.03
SHIFT_PRIOR_RAD = 0.03
# Student's degrees of freedom of the jerk, over patches of so many pieces, and of an edge's error.
JERK_DOF = 1.0
PATCH = 5
EDGE_DOF = 4.0
# Pieces used to find the scales: enough for some 20 reps, so that a long recording costs no more.
SCALE_PIECES = 8000


@dataclass(frozen=True)
class Noise:
    """Scales: jerk density rad²/s⁵, time stamp s, angle rad."""

    jerk_density: float = math.exp(9.5)
    time_s: float = 3e-5
    angle_rad: float = 2e-3

    def sigma(self, speed: Array) -> Array:
        """Standard deviation of an edge's angle at a speed."""
        return np.sqrt((self.time_s * speed) ** 2 + self.angle_rad**2)


@dataclass
class Fit:
    """Result for all bouts; ``shared`` holds the magnets' offsets and, last, the shift."""

    bouts: list[Bout]
    magnets: int
    noise: Noise = field(default_factory=Noise)
    coefficients: list[Array] = field(default_factory=list)
    shared: Array = field(default_factory=lambda: np.zeros(1))
    factors: list[Factor] = field(default_factory=list)
    couplings: list[Array] = field(default_factory=list)
    shared_covariance: NDArray[np.float64] = field(default_factory=lambda: np.zeros((1, 1)))
    speeds: list[Array] = field(default_factory=list)

    def covariance(self, bout: int, rows: Array) -> Array:
        """Covariance (m, m) of linear functions of a bout's spline, given as dense rows (m, size)."""
        solved = self.factors[bout].solve(rows.T)
        direct = rows @ solved
        leak = self.couplings[bout].T @ solved
        return direct + leak.T @ self.shared_covariance @ leak


def fit_bouts(bouts: list[Bout], magnets: int) -> Fit:
    """Fit all bouts; ``magnets`` offsets are estimated (0: none, as with an encoder or a single magnet)."""
    fit = Fit(bouts, magnets)
    fit.shared = np.zeros(magnets + 1)
    fit.speeds = [_first_speeds(bout) for bout in bouts]
    _solve(fit)
    for rounds in range(3):
        fit.noise = _best_noise(fit)
        for _ in range(4):
            _solve(fit)
            _ease(fit)
        if rounds:
            _distrust(fit)
    _solve(fit)
    return fit


def _first_speeds(bout: Bout) -> Array:
    if len(bout.t_s) < 2:
        return np.ones(len(bout.t_s))
    gaps = np.maximum(np.diff(bout.t_s), 1e-5)
    speed = np.abs(np.diff(bout.angle_rad)) / gaps
    return np.minimum(np.append(speed, speed[-1]), np.append(speed[0], speed)) + 1e-3


def _solve(fit: Fit) -> float:
    """Solve for splines and shared unknowns at the fit's scales; returns −2·log marginal likelihood."""
    size = fit.magnets + 1
    prior = np.append(np.full(fit.magnets, OFFSET_PRIOR_RAD**-2), SHIFT_PRIOR_RAD**-2)
    information = np.diag(prior)
    right = np.zeros(size)
    fit.factors, fit.couplings = [], []
    splines: list[tuple[Array, Array]] = []
    cost = 0.0
    for bout, speed in zip(fit.bouts, fit.speeds, strict=True):
        factor, coupling, plain, follow, part = _bout_terms(fit, bout, speed)
        information += part[0]
        right += part[1]
        cost += part[2]
        fit.factors.append(factor)
        fit.couplings.append(coupling)
        splines.append((plain, follow))
    fit.shared_covariance = np.linalg.inv(information)
    fit.shared = fit.shared_covariance @ right
    cost += float(np.linalg.slogdet(information)[1] - right @ fit.shared)
    fit.coefficients = [plain - follow @ fit.shared for plain, follow in splines]
    fit.speeds = [
        np.abs(bout.at_edges(c, bout.slopes)) for bout, c in zip(fit.bouts, fit.coefficients, strict=True)
    ]
    return cost


def _bout_terms(
    fit: Fit, bout: Bout, speed: Array
) -> tuple[Factor, Array, Array, Array, tuple[Array, Array, float]]:
    """One bout's share: its factor, its coupling to the shared unknowns, its spline without and per shared unknown.

    Eliminating the spline leaves the shared unknowns' information, right-hand side and −2·log likelihood.
    """
    variance = fit.noise.sigma(speed) ** 2 / bout.trust
    weight = 1.0 / variance
    jerk = bout.ease * bout.grid.step_s / fit.noise.jerk_density
    band = gram(bout.grid, bout.first, bout.weights, weight) + penalty(bout.grid, jerk)
    # A bout of one or two edges leaves the angle's course open: a trace of a prior closes it.
    band[0] += 1e-9 * band[0].max() + 1e-12
    factor = Factor(band)
    extras = bout.extras(fit.magnets)
    seen = np.column_stack([bout.angle_rad, extras]) * weight[:, None]
    pushed = project(bout.grid, bout.first, bout.weights, seen)
    solved = factor.solve(pushed)
    plain, follow = solved[:, 0], solved[:, 1:]
    coupling = pushed[:, 1:]
    information = extras.T @ seen[:, 1:] - coupling.T @ follow
    right = extras.T @ seen[:, 0] - coupling.T @ plain
    residual = bout.angle_rad @ seen[:, 0] - pushed[:, 0] @ plain
    cost = np.log(variance).sum() + factor.log_determinant - np.log(jerk).sum() + residual
    return factor, coupling, plain, follow, (information, right, float(cost))


def _best_noise(fit: Fit) -> Noise:
    """Scales of greatest marginal likelihood, one after the other along their logarithms, twice over."""
    few = _sample(fit)
    logs = np.log([fit.noise.jerk_density, fit.noise.time_s, fit.noise.angle_rad])
    floor = np.log([1.0, 5e-7, 1e-4])
    ceiling = np.log([1e9, 1e-3, 5e-2])

    def cost(trial: Array) -> float:
        few.noise = Noise(*np.exp(trial))
        kept = few.speeds
        value = _solve(few)
        few.speeds = kept
        return value

    best = cost(logs)
    for stride in (1.0, 0.4, 0.15):
        for axis in (0, 1, 2, 0, 1, 2):
            for sign in (1.0, -1.0):
                while True:
                    trial = logs.copy()
                    trial[axis] = np.clip(trial[axis] + sign * stride, floor[axis], ceiling[axis])
                    value = cost(trial)
                    if not value < best - 1e-3:
                        break
                    best, logs = value, trial
    return Noise(*np.exp(logs))


def _sample(fit: Fit) -> Fit:
    """The fit's bouts up to a bounded number of pieces."""
    bouts, speeds, pieces = [], [], 0
    for bout, speed in zip(fit.bouts, fit.speeds, strict=True):
        if len(bout.t_s) >= 5 or not bouts:
            bouts.append(bout)
            speeds.append(speed)
            pieces += bout.grid.pieces
        if pieces > SCALE_PIECES:
            break
    return Fit(bouts, fit.magnets, fit.noise, shared=fit.shared, speeds=speeds)


def _ease(fit: Fit) -> None:
    """Weaken the jerk penalty where the jerk is great, strengthen it where there is little."""
    for bout, coefficients in zip(fit.bouts, fit.coefficients, strict=True):
        power = third(bout.grid, coefficients) ** 2 * bout.grid.step_s / fit.noise.jerk_density
        patch = np.convolve(power, np.ones(PATCH), mode="same") if len(power) >= PATCH else power
        bout.ease = (JERK_DOF + PATCH) / (JERK_DOF + patch)


def _distrust(fit: Fit) -> None:
    """Give edges far off the spline less weight."""
    for bout, coefficients, speed in zip(fit.bouts, fit.coefficients, fit.speeds, strict=True):
        target = bout.angle_rad - bout.extras(fit.magnets) @ fit.shared
        residual = (target - bout.at_edges(coefficients, bout.weights)) / fit.noise.sigma(speed)
        bout.trust = (EDGE_DOF + 1.0) / (EDGE_DOF + residual**2)
