"""Finds the model's scales by the marginal likelihood of the edges, on a part of bounded size."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from brakebeat.reference.chain import Chain
from brakebeat.reference.fit import Fit, first_speeds, jerk_ease
from brakebeat.reference.noise import Noise
from brakebeat.reference.spline import Array, Factor, gram, penalty, project, third

# Pieces looked at: enough for some 20 reps, so that a long recording costs no more than a short one.
PIECES = 8000
FEWEST_EDGES = 6
_FLOOR = np.log([1e1, 1e-6, 1e-4])
_CEILING = np.log([1e9, 1e-3, 5e-2])
_EASE_ROUNDS = 4


def find_noise(chains: Sequence[Chain], spacing_rad: float, start: Noise) -> Noise:
    """Scales for chains that nothing is known of but their edges' even places."""
    angles = [np.asarray(chain.place * spacing_rad, np.float64) for chain in chains]
    speeds = [first_speeds(chain, spacing_rad) for chain in chains]
    return _search(list(chains), angles, speeds, start)


def refine_noise(fits: Sequence[Fit]) -> Noise:
    """Scales once offsets and shift are known."""
    return _search(
        [fit.chain for fit in fits],
        [fit.angle_rad() for fit in fits],
        [fit.speed_rad_s for fit in fits],
        fits[0].noise,
    )


def _search(chains: list[Chain], angles: list[Array], speeds: list[Array], noise: Noise) -> Noise:
    """Scales and the jerk's bursts by turns, until both have settled."""
    chosen = _some(chains)
    for number in range(_EASE_ROUNDS):
        spans = [1.0, 0.4, 0.15] if number == 0 else [0.3, 0.1]
        noise = _greatest(chosen, chains, angles, speeds, noise, spans)
        for at in chosen:
            shape = _penalty_shape(chains[at])
            coefficients = _spline(chains[at], angles[at], speeds[at], noise, shape)[0]
            chains[at].ease = jerk_ease(chains[at].grid, coefficients, noise)
            speeds[at] = np.abs(chains[at].at_edges(coefficients, chains[at].slopes))
    return noise


def _some(chains: list[Chain]) -> list[int]:
    chosen: list[int] = []
    pieces = 0
    for at, chain in enumerate(chains):
        if len(chain.t_s) >= FEWEST_EDGES:
            chosen.append(at)
            pieces += chain.grid.pieces
        if pieces > PIECES:
            break
    return chosen


def _greatest(
    chosen: list[int],
    chains: list[Chain],
    angles: list[Array],
    speeds: list[Array],
    noise: Noise,
    spans: list[float],
) -> Noise:
    """The scales of greatest likelihood, searched along the logarithm of each in turn."""
    if not chosen:
        return noise
    logs = np.log([noise.jerk_density, noise.time_s, noise.angle_rad])
    # The penalty's shape stays the same in all trials.
    shapes = [_penalty_shape(chains[at]) for at in chosen]

    def cost(trial: Array) -> float:
        scales = Noise(*np.exp(trial).tolist())
        return sum(
            _spline(chains[at], angles[at], speeds[at], scales, shape)[1]
            for at, shape in zip(chosen, shapes, strict=True)
        )

    best = cost(logs)
    for span in spans:
        for axis in (0, 1, 2, 0, 1, 2):
            for sign in (1.0, -1.0):
                while True:
                    trial = logs.copy()
                    trial[axis] = np.clip(trial[axis] + sign * span, _FLOOR[axis], _CEILING[axis])
                    value = cost(trial)
                    if not value < best - 1e-3:
                        break
                    best, logs = value, trial
    return Noise(*np.exp(logs).tolist())


def _penalty_shape(chain: Chain) -> Array:
    """The banded jerk penalty at unit density."""
    return penalty(chain.grid, chain.ease * chain.grid.step_s)


def _spline(chain: Chain, angle: Array, speed: Array, noise: Noise, shape: Array) -> tuple[Array, float]:
    """A chain's spline at given scales, and −2·log of the edges' marginal likelihood.

    The misfit is summed from residuals: as a difference of large forms it would drown in rounding.
    """
    weight = chain.trust / noise.sigma(speed) ** 2
    jerk = chain.ease * chain.grid.step_s / noise.jerk_density
    band = gram(chain.grid, chain.first, chain.rows, weight) + shape / noise.jerk_density
    factor = Factor(band)
    middle = float(angle.mean())
    coefficients = factor.solve(project(chain.grid, chain.first, chain.rows, weight * (angle - middle)))
    residual = angle - middle - chain.at_edges(coefficients, chain.rows)
    misfit = weight @ residual**2 + jerk @ third(chain.grid, coefficients) ** 2
    determinants = factor.log_determinant - np.log(weight).sum() - np.log(jerk).sum()
    return coefficients + middle, float(misfit + determinants)
