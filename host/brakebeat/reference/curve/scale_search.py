"""Finds the model's scales by the marginal likelihood of the edges, on a part of bounded size."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from brakebeat.reference.curve.bundle import Bundle
from brakebeat.reference.curve.chain import Chain
from brakebeat.reference.curve.fit import Fit, first_speeds
from brakebeat.reference.model.noise import Noise
from brakebeat.reference.model.spline import Array, Factor, from_third, penalty

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
        [fit.angle_rad for fit in fits],
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
        likelihood = _Likelihood(bundle, angle, speed, ease, noise)
        noise = _greatest(likelihood, noise, spans)
        coefficients = likelihood.spline(noise)
        ease = bundle.ease(coefficients, noise)
        speed = np.abs(bundle.slopes.at(coefficients))
    for number, at in enumerate(chosen):
        chains[at].ease[bundle.of_chain(number)] = ease[bundle.pieces_of(number)]
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
    """Marginal likelihood of the scales, the jerk's bursts and the speeds at the edges given.

    The splines at the scales that a search sets out from are near those at any others: what there is to gain from them
    on is small, so that no rounding can drown it.
    """

    def __init__(
        self, bundle: Bundle, angle_rad: Array, speed_rad_s: Array, ease: Array, start: Noise
    ) -> None:
        self._bundle, self._angle, self._speed = bundle, angle_rad, speed_rad_s
        # The penalty's shape stays the same in all trials.
        jerk = ease * bundle.grid.step_s
        self._shape = penalty(bundle.grid, jerk)
        self._jerk_logs = float(np.log(jerk[bundle.whole]).sum())
        self._pieces = int(bundle.whole.sum())
        near = self.spline(start)
        bent = bundle.jerk(near)
        self._residual = angle_rad - bundle.values.at(near)
        self._rough, self._pull = float(jerk @ bent**2), from_third(bundle.grid, jerk * bent)
        self._known: dict[bytes, float] = {}

    def cost(self, logs: Array) -> float:
        """−2·log likelihood at the scales' logarithms."""
        key = logs.tobytes()
        if key not in self._known:
            self._known[key] = self._cost(Noise(*np.exp(logs).tolist()))
        return self._known[key]

    def spline(self, noise: Noise) -> Array:
        """The splines' coefficients at given scales."""
        weight = self._weight(noise)
        return self._factor(weight, noise).solve(self._bundle.values.project(weight * self._angle))

    def _cost(self, noise: Noise) -> float:
        weight = self._weight(noise)
        factor = self._factor(weight, noise)
        pushed = self._bundle.values.project(weight * self._residual) - self._pull / noise.jerk_density
        gained = factor.whiten(pushed)
        misfit = weight @ self._residual**2 + self._rough / noise.jerk_density - gained @ gained
        jerk_logs = self._jerk_logs - self._pieces * np.log(noise.jerk_density)
        return float(misfit + factor.log_determinant - np.log(weight).sum() - jerk_logs)

    def _weight(self, noise: Noise) -> Array:
        weight: Array = self._bundle.trust / noise.sigma(self._speed) ** 2
        return weight

    def _factor(self, weight: Array, noise: Noise) -> Factor:
        return Factor(self._bundle.values.gram(weight) + self._shape / noise.jerk_density)
