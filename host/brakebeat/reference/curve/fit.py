"""The joint fit of a chain: one spline, the magnets' offsets, the shift between the senses.

Edge i, stamped with standard deviation σ_t at speed ω, tells the angle with variance (ω·σ_t)² + σ_a². Jerk
comes in bursts (a brake is applied, a pull begins), so it is given Student's distribution: where it is great the
penalty eases (expectation and maximisation by turns). Edges far off the spline are distrusted likewise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from brakebeat.reference.curve.bundle import Bundle
from brakebeat.reference.curve.chain import Chain
from brakebeat.reference.curve.system import System
from brakebeat.reference.model.noise import Noise
from brakebeat.reference.model.spline import Array, Factor
from brakebeat.reference.turnaround.side import USUAL, Manner

# How often the jerk's bursts and the edges' trust are told anew.
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

    @cached_property
    def angle_rad(self) -> Array:
        """The edges' angles (n,) as the fitted offsets and shift have them."""
        return _angles(self.chain, self.spacing_rad, self.offsets_rad, self.shift_rad)

    def covariance(self, functions: list[tuple[float, int]]) -> Array:
        """Covariance of values and derivatives, given as (time, derivative), close to one another.

        The spline more than a second away hardly moves with them: it is taken as fixed, so that the cost does
        not grow with the chain.
        """
        times = np.array([t for t, _ in functions])
        grid = self.chain.grid
        low, high = grid.piece(np.array([times.min() - 1.0, times.max() + 1.0])).tolist()
        cut = slice(low, high + 4)
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
    return fit_chains([chain], magnets, spacing_rad, noise, usual_accel)[0]


def fit_chains(
    chains: Sequence[Chain],
    magnets: int,
    spacing_rad: float,
    noise: Noise,
    usual_accel: float,
    manner: Manner = USUAL,
) -> list[Fit]:
    """Fit chains, each by itself; ``manner``: how the acceleration changes around their turnarounds."""
    if not chains:
        return []
    bundle = Bundle.of(chains)
    floor = bundle.over_pieces([_turn_ease(chain, noise, usual_accel, manner) for chain in chains])
    system = System(bundle, magnets, spacing_rad, noise)
    ease = bundle.over_pieces([chain.ease for chain in chains])
    trust = bundle.trust
    speed = bundle.over_edges([first_speeds(chain, spacing_rad) for chain in chains])
    system.solve(ease, trust, speed)
    for number in range(_ROUNDS):
        ease = np.minimum(bundle.ease(system.coefficients, noise), floor)
        if number:
            trust = system.trust()
        system.solve(ease, trust, system.speed_rad_s)
    for number, chain in enumerate(chains):
        chain.ease, chain.trust = ease[bundle.pieces_of(number)], trust[bundle.edges[number]]
    return [_fit(system, bundle, number, spacing_rad, noise, usual_accel) for number in range(len(chains))]


def _fit(
    system: System, bundle: Bundle, number: int, spacing_rad: float, noise: Noise, usual_accel: float
) -> Fit:
    own, unknown = bundle.coefficients[number], system.unknown[number]
    return Fit(
        bundle.chains[number],
        len(unknown) - 1,
        spacing_rad,
        usual_accel,
        noise,
        system.coefficients[own] + system.middle_rad[number],
        unknown[:-1],
        float(unknown[-1]),
        system.speed_rad_s[bundle.edges[number]],
        system.band[:, own],
        system.coupling[own],
        system.covariance[number],
    )


def first_speeds(chain: Chain, spacing_rad: float) -> Array:
    """Rough speeds at the edges, good enough to weigh them."""
    t, place = chain.t_s, chain.place
    if len(t) < 2:
        return np.ones(len(t))
    speed = np.maximum(np.abs(np.diff(place)), 0.3) * spacing_rad / np.maximum(np.diff(t), 1e-5)
    slower: Array = np.minimum(np.append(speed, speed[-1]), np.append(speed[0], speed))
    return slower


def _angles(chain: Chain, spacing_rad: float, offsets_rad: Array, shift_rad: float) -> Array:
    angle = chain.place * spacing_rad - chain.sense * shift_rad
    if len(offsets_rad):
        angle = angle + offsets_rad[chain.place % len(offsets_rad)]
    return np.asarray(angle, float)


def _turn_ease(chain: Chain, noise: Noise, usual_accel: float, manner: Manner) -> Array:
    """The greatest ease of each piece: for a while from each turnaround on the acceleration may change, and once more
    where a pull weakens with the speed."""
    ease = np.full(chain.grid.pieces, np.inf)
    step = chain.grid.step_s
    middle = chain.grid.start_s + (np.arange(chain.grid.pieces) + 0.5) * step
    changing = [(-0.5 * step, manner.coming_s + 0.5 * step)]
    if manner.weakens_per_s:
        changing.append((manner.coming_s + 0.5 * step, manner.coming_s + 1.0 / manner.weakens_per_s))
    for number, turning in enumerate(chain.turnings):
        vertex = turning.vertex_s - chain.delay_s[number]
        for low, high in changing:
            inside = (middle > vertex + low) & (middle < vertex + high)
            precision = step**2 * max(int(inside.sum()), 1) / (manner.change * usual_accel) ** 2
            ease[inside] = precision * noise.jerk_density / step
    return ease


def _principal(band: Array, cut: slice) -> Array:
    """The banded principal submatrix over ``cut``."""
    part = band[:, cut].copy()
    for below in range(1, part.shape[0]):
        part[below, part.shape[1] - below :] = 0.0
    return part
