"""One bout's edges against a spline: the pieces of the normal equations that do not depend on the unknown scales."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.spline import Array, Grid, Integers

STEP_S = 0.006
# Beyond the outermost edges the spline runs on for this long, so that it can reach standstill.
MARGIN_S = 0.6


@dataclass
class Bout:
    """Edges of strokes that follow one another without a rest.

    ``t_s``, ``angle_rad`` (even spacing), ``magnet``, ``sense`` (n,); ``basis`` of the spline at the edges.
    ``ease`` (pieces,): how much the jerk penalty is weakened or strengthened piece by piece.
    """

    t_s: Array
    angle_rad: Array
    magnet: Integers
    sense: Integers
    grid: Grid
    first: Integers = field(init=False)
    weights: Array = field(init=False)
    slopes: Array = field(init=False)
    ease: Array = field(init=False)
    trust: Array = field(init=False)

    def __post_init__(self) -> None:
        self.first, self.weights = self.grid.basis(self.t_s)
        self.slopes = self.grid.basis(self.t_s, 1)[1]
        self.ease = np.ones(self.grid.pieces)
        self.trust = np.ones(len(self.t_s))

    def at_edges(self, coefficients: Array, weights: Array) -> Array:
        """Spline values (or slopes) at the edges."""
        return (coefficients[self.first[:, None] + np.arange(4)] * weights).sum(axis=1)

    def extras(self, magnets: int) -> NDArray[np.float64]:
        """Columns of the unknowns that all bouts share: each magnet's offset, then the sense's shift.

        A magnet at even place a passes the sensor at a + offset − sense·shift (a magnet is felt before it is
        reached); the spline has to go through that.
        """
        columns = np.zeros((len(self.t_s), magnets + 1))
        if magnets:
            columns[np.arange(len(self.t_s)), self.magnet] = -1.0
        columns[:, -1] = self.sense
        return columns


def make_bout(
    t_s: Array, angle_rad: Array, magnet: Integers, sense: Integers, room_s: tuple[float, float]
) -> Bout:
    """A bout with its grid; ``room_s`` is the time up to the neighbouring bouts' edges."""
    before = min(MARGIN_S, max(room_s[0], STEP_S))
    after = min(MARGIN_S, max(room_s[1], STEP_S))
    grid = Grid.over(float(t_s[0]) - before, float(t_s[-1]) + after, STEP_S)
    return Bout(t_s, angle_rad, magnet, sense, grid)
