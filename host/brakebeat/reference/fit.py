"""The joint fit of a chain: one spline, the magnets' offsets, the shift between the senses.

Edge i, stamped with standard deviation σ_t at speed ω, tells the angle with variance (ω·σ_t)² + σ_a². Jerk
comes in bursts (a brake is applied, a pull begins), so it is given Student's distribution: where it is great the
penalty eases (expectation and maximisation by turns). Edges far off the spline are distrusted likewise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brakebeat.reference.chain import Chain
from brakebeat.reference.noise import Noise
from brakebeat.reference.spline import Array, Factor, Grid, gram, penalty, project, third
from brakebeat.reference.vertex import CHANGE, CHANGE_S

# Prior standard deviation of a magnet's offset, rad.
OFFSET_PRIOR_RAD = 0.03
# Half the hysteresis: a switch fires as its magnet comes near, up to about a degree ahead of it either way round
# (common experience, no source). An encoder, known by its small steps, has play of a part of a step.
SHIFT_RAD, SHIFT_PRIOR_RAD = 0.0105, 0.005
_ENCODER_RAD, _ENCODER_PLAY = 0.2, 0.25
# Offsets are deviations from even spacing: their mean is held at zero this tightly.
_MEAN_PRIOR_RAD = 1e-5
# Student's degrees of freedom: of the jerk, over patches of so many pieces, and of an edge's error.
JERK_DOF = 1.0
PATCH = 5
EDGE_DOF = 4.0
_ROUNDS = 4


@dataclass
class Fit:
    """A chain's fit.

    ``coefficients`` of the spline; ``offsets_rad`` (magnets,) and ``shift_rad``: a magnet at even place a passes
    at a + offset − sense·shift. ``speed_rad_s`` (n,) at the edges. ``band``, ``coupling`` and
    ``shared_covariance`` hold what the covariance needs.
    """

    chain: Chain
    magnets: int
    spacing_rad: float
    usual_accel_rad_s2: float
    noise: Noise
    coefficients: Array
    offsets_rad: Array
    shift_rad: float
    speed_rad_s: Array
    band: Array
    coupling: Array
    shared_covariance: Array

    def value(self, t_s: Array, derivative: int = 0) -> Array:
        """Angle (or a derivative) at times of the chain."""
        return self.chain.grid.value(self.coefficients, np.asarray(t_s, float), derivative)

    def angle_rad(self) -> Array:
        """The edges' angles as the fitted offsets and shift have them."""
        return _angles(self.chain, self.spacing_rad, self.offsets_rad, self.shift_rad)

    def covariance(self, functions: list[tuple[float, int]]) -> Array:
        """Covariance of values and derivatives, given as (time, derivative), close to one another.

        The spline more than a second away hardly moves with them: it is taken as fixed, so that the cost does
        not grow with the chain.
        """
        times = np.array([t for t, _ in functions])
        grid = self.chain.grid
        low, _ = grid.basis(np.array([times.min() - 1.0]))
        high, _ = grid.basis(np.array([times.max() + 1.0]))
        cut = slice(int(low[0]), int(high[0]) + 4)
        rows = np.zeros((len(functions), cut.stop - cut.start))
        for number, (t, derivative) in enumerate(functions):
            first, weights = grid.basis(np.array([t]), derivative)
            rows[number, first[0] - cut.start + np.arange(4)] = weights[0]
        solved = Factor(_principal(self.band, cut)).solve(rows.T)
        leak = self.coupling[cut].T @ solved
        total: Array = rows @ solved + leak.T @ self.shared_covariance @ leak
        return total

    def spread(self, functions: list[tuple[float, int]]) -> Array:
        """Standard deviations of values and derivatives."""
        spread: Array = np.sqrt(np.maximum(np.diag(self.covariance(functions)), 0.0))
        return spread


def fit_chain(chain: Chain, magnets: int, spacing_rad: float, noise: Noise, usual_accel: float) -> Fit:
    """Fit a chain at given scales; ``magnets`` offsets are estimated (0: none)."""
    floor = _turn_ease(chain, noise, usual_accel)
    speed = first_speeds(chain, spacing_rad)
    fit = _solve(chain, magnets, spacing_rad, usual_accel, noise, speed)
    for number in range(_ROUNDS):
        chain.ease = np.minimum(jerk_ease(chain.grid, fit.coefficients, noise), floor)
        if number:
            chain.trust = _trust(fit)
        fit = _solve(chain, magnets, spacing_rad, usual_accel, noise, fit.speed_rad_s)
    return fit


def first_speeds(chain: Chain, spacing_rad: float) -> Array:
    """Rough speeds at the edges, good enough to weigh them."""
    t, place = chain.t_s, chain.place
    if len(t) < 2:
        return np.ones(len(t))
    speed = np.maximum(np.abs(np.diff(place)), 0.3) * spacing_rad / np.maximum(np.diff(t), 1e-5)
    slower: Array = np.minimum(np.append(speed, speed[-1]), np.append(speed[0], speed))
    return slower


def jerk_ease(grid: Grid, coefficients: Array, noise: Noise) -> Array:
    """How much to weaken or strengthen the jerk penalty in each piece, from the jerk found there."""
    power = third(grid, coefficients) ** 2 * grid.step_s / noise.jerk_density
    patch = np.convolve(power, np.ones(PATCH), mode="same") if len(power) >= PATCH else power
    ease: Array = (JERK_DOF + PATCH) / (JERK_DOF + patch)
    return ease


def _solve(
    chain: Chain, magnets: int, spacing_rad: float, usual_accel: float, noise: Noise, speed: Array
) -> Fit:
    """Normal equations at given scales, ease and trust: the spline is eliminated, the shared unknowns solved."""
    weight = chain.trust / noise.sigma(speed) ** 2
    jerk = chain.ease * chain.grid.step_s / noise.jerk_density
    band = gram(chain.grid, chain.first, chain.rows, weight) + penalty(chain.grid, jerk)
    factor = Factor(band)
    shared = _shared_columns(chain, magnets)
    even = chain.place * spacing_rad
    # Relative to the middle of the chain, to spare the rounding.
    middle = float(np.mean(even))
    seen = np.column_stack([even - middle, shared]) * weight[:, None]
    pushed = project(chain.grid, chain.first, chain.rows, seen)
    solved = factor.solve(pushed)
    coupling, follow = pushed[:, 1:], solved[:, 1:]
    information = shared.T @ seen[:, 1:] - coupling.T @ follow + _shared_prior(magnets)
    shift, shift_sd = shift_prior(spacing_rad)
    information[-1, -1] += shift_sd**-2
    covariance = np.linalg.inv(information)
    seen_of_shared = shared.T @ seen[:, 0] - coupling.T @ solved[:, 0]
    seen_of_shared[-1] += shift / shift_sd**2
    unknown = covariance @ seen_of_shared
    coefficients = solved[:, 0] - follow @ unknown + middle
    return Fit(
        chain,
        magnets,
        spacing_rad,
        usual_accel,
        noise,
        coefficients,
        unknown[:-1],
        float(unknown[-1]),
        np.abs(chain.at_edges(coefficients, chain.slopes)),
        band,
        coupling,
        np.asarray(covariance, np.float64),
    )


def _shared_columns(chain: Chain, magnets: int) -> Array:
    """How each edge's even place depends on offsets and shift: place = spline − offset + sense·shift."""
    columns = np.zeros((len(chain.t_s), magnets + 1))
    if magnets:
        columns[np.arange(len(chain.t_s)), chain.place % magnets] = -1.0
    columns[:, -1] = chain.sense
    return columns


def _shared_prior(magnets: int) -> Array:
    prior = np.zeros((magnets + 1, magnets + 1))
    prior[:magnets, :magnets] = np.eye(magnets) / OFFSET_PRIOR_RAD**2
    if magnets:
        prior[:magnets, :magnets] += 1.0 / (_MEAN_PRIOR_RAD * magnets) ** 2
    return prior


def shift_prior(spacing_rad: float) -> tuple[float, float]:
    """What is known beforehand of half the hysteresis: mean and standard deviation, rad."""
    if spacing_rad < _ENCODER_RAD:
        return 0.0, _ENCODER_PLAY * spacing_rad
    return SHIFT_RAD, SHIFT_PRIOR_RAD


def _angles(chain: Chain, spacing_rad: float, offsets_rad: Array, shift_rad: float) -> Array:
    angle = chain.place * spacing_rad - chain.sense * shift_rad
    if len(offsets_rad):
        angle = angle + offsets_rad[chain.place % len(offsets_rad)]
    return np.asarray(angle, float)


def _trust(fit: Fit) -> Array:
    """Less weight for edges far off the spline."""
    residual = fit.angle_rad() - fit.chain.at_edges(fit.coefficients, fit.chain.rows)
    trust: Array = (EDGE_DOF + 1.0) / (EDGE_DOF + (residual / fit.noise.sigma(fit.speed_rad_s)) ** 2)
    return trust


def _turn_ease(chain: Chain, noise: Noise, usual_accel: float) -> Array:
    """The greatest ease of each piece: for a while from each turnaround on the acceleration may change."""
    ease = np.full(chain.grid.pieces, np.inf)
    step = chain.grid.step_s
    middle = chain.grid.start_s + (np.arange(chain.grid.pieces) + 0.5) * step
    for number, turning in enumerate(chain.turnings):
        vertex = turning.vertex_s - chain.delay_s[number]
        inside = (middle > vertex - 0.5 * step) & (middle < vertex + CHANGE_S + 0.5 * step)
        precision = step**2 * max(int(inside.sum()), 1) / (CHANGE * usual_accel) ** 2
        ease[inside] = precision * noise.jerk_density / step
    return ease


def _principal(band: Array, cut: slice) -> Array:
    """The banded principal submatrix over ``cut``."""
    part = band[:, cut].copy()
    for below in range(1, part.shape[0]):
        part[below, part.shape[1] - below :] = 0.0
    return part
