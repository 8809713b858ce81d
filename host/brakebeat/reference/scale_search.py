"""Finds the model's scales by the marginal likelihood of the edges, on a part of bounded size."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from brakebeat.reference.bundle import Bundle
from brakebeat.reference.chain import Chain
from brakebeat.reference.fit import Fit, first_speeds
from brakebeat.reference.noise import Noise
from brakebeat.reference.spline import Array, Factor, gram, penalty, project

# Pieces looked at: enough for some 20 reps, so that a long recording costs no more than a short one.
PIECES = 8000
FEWEST_EDGES = 6
_FLOOR = np.log([1e1, 1e-6, 1e-4])
_CEILING = np.log([1e9, 1e-3, 5e-2])
# Steps along the logarithm of each scale in turn, before the jerk's bursts are told anew, and so on.
_FIRST_SPANS = ((1.0, 0.4, 0.15), (0.3, 0.1), (0.3, 0.1), (0.15,))
_AGAIN_SPANS = ((1.0, 0.4, 0.15), (0.3, 0.1), (0.3, 0.1), (0.15,))
_LONGEST_STEP = 4.0
_SETTLED = 1e-3


def find_noise(chains: Sequence[Chain], spacing_rad: float, start: Noise) -> Noise:
    """Scales for chains that nothing is known of but their edges' even places."""
    angles = [np.asarray(chain.place * spacing_rad, np.float64) for chain in chains]
    speeds = [first_speeds(chain, spacing_rad) for chain in chains]
    return _search(list(chains), angles, speeds, start, _FIRST_SPANS)


def refine_noise(fits: Sequence[Fit]) -> Noise:
    """Scales once offsets and shift are known."""
    return _search(
        [fit.chain for fit in fits],
        [fit.angle_rad() for fit in fits],
        [fit.speed_rad_s for fit in fits],
        fits[0].noise,
        _AGAIN_SPANS,
    )


def _search(
    chains: list[Chain],
    angles: list[Array],
    speeds: list[Array],
    noise: Noise,
    rounds: tuple[tuple[float, ...], ...],
) -> Noise:
    """Scales and the jerk's bursts by turns, until both have settled."""
    chosen = _some(chains)
    if not chosen:
        return noise
    bundle = Bundle.of([chains[at] for at in chosen], PIECES)
    angle, _ = bundle.centred(bundle.over_edges([angles[at] for at in chosen]))
    speed = bundle.over_edges([speeds[at] for at in chosen])
    ease = bundle.over_pieces([chains[at].ease for at in chosen])
    for spans in rounds:
        likelihood = _Likelihood(bundle, angle, speed, ease)
        noise = _greatest(likelihood, noise, spans)
        coefficients = likelihood.spline(noise)[0]
        ease = bundle.ease(coefficients, noise)
        speed = np.abs(bundle.at_edges(coefficients, bundle.slopes))
    for number, at in enumerate(chosen):
        found = ease[bundle.pieces_of(number)]
        chains[at].ease[: len(found)] = found
    return noise


def _some(chains: list[Chain]) -> list[int]:
    """The first ones that show enough edges within the pieces looked at."""
    chosen: list[int] = []
    room = PIECES
    for at, chain in enumerate(chains):
        if int((chain.first < room).sum()) >= FEWEST_EDGES:
            chosen.append(at)
            room -= chain.grid.pieces
        if room <= 0:
            break
    return chosen


def _greatest(likelihood: _Likelihood, noise: Noise, spans: tuple[float, ...]) -> Noise:
    """The scales of greatest likelihood, searched along the logarithm of each in turn."""
    logs = np.log([noise.jerk_density, noise.time_s, noise.angle_rad])
    best = likelihood.cost(logs)
    for span in spans:
        for axis in (0, 1, 2):
            logs, best = _along(likelihood, logs, best, axis, span)
    return Noise(*np.exp(logs).tolist())


def _along(likelihood: _Likelihood, logs: Array, best: float, axis: int, span: float) -> tuple[Array, float]:
    """The best along one axis: by the parabola through three trials, for as long as it leads further."""
    while True:
        tried = [_moved(logs, axis, -span), _moved(logs, axis, span)]
        costs = [likelihood.cost(trial) for trial in tried]
        bend = costs[0] + costs[1] - 2.0 * best
        slope = costs[0] - costs[1]
        step = 0.5 * span * slope / bend if bend > 0.0 else np.copysign(np.inf, slope)
        far = abs(step) > 1.5 * span
        tried.append(_moved(logs, axis, float(np.clip(step, -_LONGEST_STEP * span, _LONGEST_STEP * span))))
        costs.append(likelihood.cost(tried[-1]))
        at = int(np.argmin(costs))
        if costs[at] >= best - _SETTLED:
            return logs, best
        logs, best = tried[at], costs[at]
        if not far:
            return logs, best


def _moved(logs: Array, axis: int, step: float) -> Array:
    trial = logs.copy()
    trial[axis] = np.clip(trial[axis] + step, _FLOOR[axis], _CEILING[axis])
    return trial


class _Likelihood:
    """Marginal likelihood of the scales, the jerk's bursts and the speeds at the edges given."""

    def __init__(self, bundle: Bundle, angle_rad: Array, speed_rad_s: Array, ease: Array) -> None:
        self._bundle, self._angle, self._speed = bundle, angle_rad, speed_rad_s
        # The penalty's shape stays the same in all trials.
        self._jerk = ease * bundle.grid.step_s
        self._shape = penalty(bundle.grid, self._jerk)
        self._jerk_logs = float(np.log(self._jerk[bundle.whole]).sum())
        self._pieces = int(bundle.whole.sum())

    def cost(self, logs: Array) -> float:
        """−2·log likelihood at the scales' logarithms."""
        return self.spline(Noise(*np.exp(logs).tolist()))[1]

    def spline(self, noise: Noise) -> tuple[Array, float]:
        """The splines at given scales, and −2·log of the edges' marginal likelihood.

        The misfit is summed from residuals: as a difference of large forms it would drown in rounding.
        """
        bundle = self._bundle
        weight = bundle.trust / noise.sigma(self._speed) ** 2
        band = gram(bundle.grid, bundle.first, bundle.rows, weight) + self._shape / noise.jerk_density
        factor = Factor(band)
        coefficients = factor.solve(project(bundle.grid, bundle.first, bundle.rows, weight * self._angle))
        residual = self._angle - bundle.at_edges(coefficients, bundle.rows)
        misfit = weight @ residual**2 + self._jerk @ bundle.jerk(coefficients) ** 2 / noise.jerk_density
        jerk_logs = self._jerk_logs - self._pieces * np.log(noise.jerk_density)
        determinants = factor.log_determinant - np.log(weight).sum() - jerk_logs
        return coefficients, float(misfit + determinants)
