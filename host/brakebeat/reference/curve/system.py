"""The normal equations of a joint fit: splines, the magnets' offsets, the shift between the senses."""

from __future__ import annotations

import numpy as np

from brakebeat.reference.curve.bundle import Bundle
from brakebeat.reference.model.noise import Noise
from brakebeat.reference.model.spline import Array, Factor, penalty

# Prior standard deviation of a magnet's offset, rad.
OFFSET_PRIOR_RAD = 0.03
# Half the hysteresis: a switch fires as its magnet comes near, up to about a degree ahead of it either way round
# (common experience, no source). An encoder, known by its small steps, has play of a part of a step.
SHIFT_RAD, SHIFT_PRIOR_RAD = 0.0105, 0.005
_ENCODER_RAD, _ENCODER_PLAY = 0.2, 0.25
# Offsets are deviations from even spacing: their mean is held at zero this tightly.
_MEAN_PRIOR_RAD = 1e-5
# Student's degrees of freedom of an edge's error.
EDGE_DOF = 4.0


class System:
    """Normal equations of chains at given scales: the splines are eliminated, each chain's shared unknowns solved.

    An edge's even place depends on offsets and shift: place = spline − offset + sense·shift. ``coefficients``,
    ``speed_rad_s`` at the edges, ``band`` and ``coupling`` run over all chains; ``unknown`` (offsets, then the shift)
    and their ``covariance`` are lists, a chain each. All are there once it was solved.
    """

    coefficients: Array
    speed_rad_s: Array
    band: Array
    coupling: Array
    unknown: list[Array]
    covariance: list[Array]

    def __init__(self, bundle: Bundle, magnets: int, spacing_rad: float, noise: Noise) -> None:
        self._bundle, self._magnets, self._spacing, self._noise = bundle, magnets, spacing_rad, noise
        even = np.concatenate([chain.place * spacing_rad for chain in bundle.chains])
        self._even, self.middle_rad = bundle.centred(even)
        self._sense = np.concatenate([chain.sense for chain in bundle.chains]).astype(float)
        places = np.concatenate([chain.place for chain in bundle.chains])
        self._shared = np.zeros((len(places), magnets + 1))
        if magnets:
            self._shared[np.arange(len(places)), places % magnets] = -1.0
        self._shared[:, -1] = self._sense

    def solve(self, ease: Array, trust: Array, speed_rad_s: Array) -> None:
        """Solve at given ease, trust and speeds at the edges."""
        bundle = self._bundle
        weight = trust / self._noise.sigma(speed_rad_s) ** 2
        jerk = ease * bundle.grid.step_s / self._noise.jerk_density
        self.band = bundle.values.gram(weight) + penalty(bundle.grid, jerk)
        seen = np.column_stack([self._even, self._shared]) * weight[:, None]
        pushed = bundle.values.project(seen)
        solved = Factor(self.band).solve(pushed)
        self.coupling = pushed[:, 1:]
        self.coefficients = solved[:, 0].copy()
        self.unknown, self.covariance = [], []
        for edges, own in zip(bundle.edges, bundle.coefficients, strict=True):
            self._solve_shared(seen[edges], self._shared[edges], pushed[own, 1:], solved[own])
            self.coefficients[own] -= solved[own, 1:] @ self.unknown[-1]
        self.speed_rad_s = np.abs(bundle.slopes.at(self.coefficients))

    def _solve_shared(self, seen: Array, shared: Array, coupling: Array, solved: Array) -> None:
        """A chain's shared unknowns and their covariance."""
        # Against the solved splines, all at once: what the data say of the unknowns and of the even places.
        said = shared.T @ seen - coupling.T @ solved
        information = said[:, 1:] + _shared_prior(self._magnets)
        shift, shift_sd = shift_prior(self._spacing)
        information[-1, -1] += shift_sd**-2
        said[-1, 0] += shift / shift_sd**2
        covariance = np.linalg.inv(information)
        self.covariance.append(np.asarray(covariance, np.float64))
        self.unknown.append(covariance @ said[:, 0])

    def trust(self) -> Array:
        """Less weight for edges far off the splines."""
        bundle = self._bundle
        residual = self._even - bundle.values.at(self.coefficients)
        for own, unknown in zip(bundle.edges, self.unknown, strict=True):
            residual[own] -= self._shared[own] @ unknown
        off = residual / self._noise.sigma(self.speed_rad_s)
        trust: Array = (EDGE_DOF + 1.0) / (EDGE_DOF + off**2)
        return trust


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
