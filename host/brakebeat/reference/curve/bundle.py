"""Chains laid end to end on one grid, so that one banded system does for all of them what each would have its own for.

Their splines stay apart: no piece reaches from one to the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.curve.basis import Basis
from brakebeat.reference.curve.chain import STEP_S, Chain
from brakebeat.reference.model.noise import Noise
from brakebeat.reference.model.spline import Array, Grid, third

# Student's degrees of freedom of the jerk, over patches of so many pieces.
JERK_DOF = 1.0
PATCH = 5


@dataclass(frozen=True)
class Bundle:
    """Chains on one grid; arrays (n,) run over all their edges, (p,) over all pieces.

    ``values`` and ``slopes`` give the splines and their slopes at the edges; ``edges`` and ``coefficients`` are each
    chain's own slices of them; ``whole`` (p,) is False for the pieces between two chains; ``skipped``: so many of each
    chain's pieces are left out before its first edge.
    """

    chains: Sequence[Chain]
    grid: Grid
    values: Basis
    slopes: Basis
    trust: Array
    whole: NDArray[np.bool_]
    edges: list[slice]
    coefficients: list[slice]
    skipped: list[int]

    @classmethod
    def of(cls, chains: Sequence[Chain], most_pieces: int | None = None) -> Bundle:
        """All of the chains, or their beginning, of so many pieces at most, without what lies beyond their edges."""
        edges: list[slice] = []
        coefficients: list[slice] = []
        skipped: list[int] = []
        begun, room = 0, most_pieces
        for chain in chains:
            pieces, count, skip = chain.grid.pieces, len(chain.t_s), 0
            if room is not None:
                count = int((chain.first < room).sum())
                room -= pieces
                # Edges whose times a wrong turnaround has put out of order are not a chain's first and last.
                skip = int(chain.first[:count].min())
                pieces = int(chain.first[:count].max()) - skip + 1
            start = edges[-1].stop if edges else 0
            edges.append(slice(start, start + count))
            coefficients.append(slice(begun, begun + pieces + 3))
            skipped.append(skip)
            begun += pieces + 3
        whole = np.ones(begun - 3, bool)
        for own in coefficients[:-1]:
            whole[own.stop - 3 : own.stop] = False

        def joined(name: str) -> Array:
            own = zip(chains, edges, strict=True)
            return np.concatenate([getattr(chain, name)[: at.stop - at.start] for chain, at in own])

        starts = [own.start - skip for own, skip in zip(coefficients, skipped, strict=True)]
        offset = np.repeat(starts, [own.stop - own.start for own in edges])
        grid, first = Grid(0.0, STEP_S, begun - 3), joined("first").astype(np.int64) + offset
        return cls(
            chains,
            grid,
            Basis(grid, first, joined("rows")),
            Basis(grid, first, joined("slopes")),
            joined("trust"),
            whole,
            edges,
            coefficients,
            skipped,
        )

    def pieces_of(self, number: int) -> slice:
        """A chain's own pieces."""
        own = self.coefficients[number]
        return slice(own.start, own.stop - 3)

    def of_chain(self, number: int) -> slice:
        """The same among all of the chain's pieces."""
        at, skip = self.pieces_of(number), self.skipped[number]
        return slice(skip, skip + at.stop - at.start)

    def over_pieces(self, values: Sequence[Array]) -> Array:
        """Each chain's values at its pieces, all together; 0 between the chains."""
        together = np.zeros(self.grid.pieces)
        for number, own in enumerate(values):
            together[self.pieces_of(number)] = own[self.of_chain(number)]
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
