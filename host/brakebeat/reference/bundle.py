"""Chains laid end to end on one grid, so that one banded system does for all of them what each would have its own for.

Their splines stay apart: no piece reaches from one to the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.chain import STEP_S, Chain
from brakebeat.reference.noise import Noise
from brakebeat.reference.spline import Array, Grid, Integers, third

# Student's degrees of freedom of the jerk, over patches of so many pieces.
JERK_DOF = 1.0
PATCH = 5


@dataclass(frozen=True)
class Bundle:
    """Chains on one grid; arrays (n,) run over all their edges, (p,) over all pieces.

    ``edges`` and ``coefficients`` are each chain's own slices of them; ``whole`` (p,) is False for the pieces
    between two chains.
    """

    chains: Sequence[Chain]
    grid: Grid
    first: Integers
    rows: Array
    slopes: Array
    trust: Array
    whole: NDArray[np.bool_]
    edges: list[slice]
    coefficients: list[slice]

    @classmethod
    def of(cls, chains: Sequence[Chain], most_pieces: int | None = None) -> Bundle:
        """All of the chains, or their beginning, of so many pieces at most."""
        edges: list[slice] = []
        coefficients: list[slice] = []
        begun, room = 0, most_pieces
        for chain in chains:
            pieces = chain.grid.pieces if room is None else min(chain.grid.pieces, room)
            count = len(chain.t_s) if pieces == chain.grid.pieces else int((chain.first < pieces).sum())
            start = edges[-1].stop if edges else 0
            edges.append(slice(start, start + count))
            coefficients.append(slice(begun, begun + pieces + 3))
            begun += pieces + 3
            room = None if room is None else room - pieces
        whole = np.ones(begun - 3, bool)
        for own in coefficients[:-1]:
            whole[own.stop - 3 : own.stop] = False

        def joined(name: str) -> Array:
            own = zip(chains, edges, strict=True)
            return np.concatenate([getattr(chain, name)[: at.stop - at.start] for chain, at in own])

        offset = np.repeat([own.start for own in coefficients], [own.stop - own.start for own in edges])
        return cls(
            chains,
            Grid(0.0, STEP_S, begun - 3),
            joined("first").astype(np.int64) + offset,
            joined("rows"),
            joined("slopes"),
            joined("trust"),
            whole,
            edges,
            coefficients,
        )

    def pieces_of(self, number: int) -> slice:
        """A chain's own pieces."""
        own = self.coefficients[number]
        return slice(own.start, own.stop - 3)

    def over_pieces(self, values: Sequence[Array]) -> Array:
        """Each chain's values at its pieces, all together; 0 between the chains."""
        together = np.zeros(self.grid.pieces)
        for number, own in enumerate(values):
            at = self.pieces_of(number)
            together[at] = own[: at.stop - at.start]
        return together

    def over_edges(self, values: Sequence[Array]) -> Array:
        """Each chain's values at its edges, all together."""
        own = zip(values, self.edges, strict=True)
        return np.concatenate([each[: at.stop - at.start] for each, at in own])

    def centred(self, angle_rad: Array) -> tuple[Array, Array]:
        """Angles less their mean over each chain, to spare the rounding, and those means (chains,)."""
        count = np.array([own.stop - own.start for own in self.edges])
        means = np.add.reduceat(angle_rad, [own.start for own in self.edges]) / count
        return angle_rad - np.repeat(means, count), means

    def at_edges(self, coefficients: Array, rows: Array) -> Array:
        """What ``rows`` (values or slopes) give at the edges."""
        value: Array = (coefficients[self.first[:, None] + np.arange(4)] * rows).sum(axis=1)
        return value

    def jerk(self, coefficients: Array) -> Array:
        """The third derivative in each piece."""
        return third(self.grid, coefficients) * self.whole

    def ease(self, coefficients: Array, noise: Noise) -> Array:
        """How much to weaken or strengthen the jerk penalty in each piece, from the jerk found there; 0 between the
        chains."""
        power = self.jerk(coefficients) ** 2 * self.grid.step_s / noise.jerk_density
        patch = np.convolve(power, np.ones(PATCH), mode="same") if len(power) >= PATCH else power
        ease: Array = self.whole * (JERK_DOF + PATCH) / (JERK_DOF + patch)
        return ease
