"""A uniform cubic spline for the shaft angle against time, smoothed by a penalty on its third derivative.

The model behind it: jerk is white noise of density ``q`` (rad²/s⁵), so the acceleration wanders like a random
walk; the edges measure the angle with known standard deviations. The best estimate and its covariance then
come from one banded system of normal equations, 4 diagonals wide, in time linear in the record's length.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError
from scipy.linalg.lapack import dpbtrf, dpbtrs, dtbtrs

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

_THIRD = np.array([-1.0, 3.0, -3.0, 1.0])


@dataclass(frozen=True)
class Grid:
    """Knots ``start_s + k·step_s``, ``pieces`` cubic pieces between them, ``pieces + 3`` coefficients."""

    start_s: float
    step_s: float
    pieces: int

    @classmethod
    def over(cls, start_s: float, end_s: float, step_s: float) -> Grid:
        """The grid that covers a stretch of time."""
        return cls(start_s, step_s, max(int(np.ceil((end_s - start_s) / step_s)), 1))

    @property
    def size(self) -> int:
        """Number of coefficients."""
        return self.pieces + 3

    @property
    def end_s(self) -> float:
        """The last knot."""
        return self.start_s + self.pieces * self.step_s

    def piece(self, t_s: Array) -> Integers:
        """The piece that each time (n,) lies in, or is nearest to."""
        x = (np.asarray(t_s, float) - self.start_s) / self.step_s
        nearest: Integers = np.clip(np.floor(x).astype(np.int64), 0, self.pieces - 1)
        return nearest

    def basis(self, t_s: Array, derivative: int = 0) -> tuple[Integers, Array]:
        """First coefficient (n,) and the four weights (n, 4) that give a derivative (0 to 3) at times (n,)."""
        first = self.piece(t_s)
        u = (np.asarray(t_s, float) - self.start_s) / self.step_s - first
        v = 1.0 - u
        square, other = u * u, v * v
        if derivative == 0:
            cube, opposite = square * u, other * v
            columns = opposite, 3 * cube - 6 * square + 4, 3 * opposite - 6 * other + 4, cube
            return first, np.stack(columns, axis=-1) / 6.0
        if derivative == 1:
            columns = -other, 3 * square - 4 * u, -3 * other + 4 * v, square
            return first, np.stack(columns, axis=-1) / (2.0 * self.step_s)
        if derivative == 2:
            columns = v, 3 * u - 2, 3 * v - 2, u
            return first, np.stack(columns, axis=-1) / self.step_s**2
        return first, np.broadcast_to(_THIRD, (*u.shape, 4)) / self.step_s**3

    def value(self, coefficients: Array, t_s: Array, derivative: int = 0) -> Array:
        """The spline or one of its derivatives at times (n,)."""
        first, weights = self.basis(t_s, derivative)
        return np.asarray(np.einsum("...i,...i->...", coefficients[first[..., None] + np.arange(4)], weights))

    def rows(self, t_s: Array, derivative: int = 0) -> Array:
        """Dense rows (n, size) that give a derivative at a few times, for covariances."""
        first, weights = self.basis(np.atleast_1d(t_s), derivative)
        dense = np.zeros((len(first), self.size))
        np.put_along_axis(dense, first[:, None] + np.arange(4), weights, axis=1)
        return dense


def penalty(grid: Grid, precision: Array) -> Array:
    """Lower banded form of the jerk penalty: Σ precision[k]·(third derivative in piece k)²."""
    band = np.zeros((4, grid.size), order="F")
    weighed = precision / grid.step_s**6
    for below in range(4):
        for a in range(4 - below):
            band[below, a : a + grid.pieces] += _THIRD[a] * _THIRD[a + below] * weighed
    return band


def third(grid: Grid, coefficients: Array) -> Array:
    """The third derivative in each piece (pieces,)."""
    return np.convolve(coefficients, _THIRD[::-1], mode="valid") / grid.step_s**3


def from_third(grid: Grid, values: Array) -> Array:
    """What pulls at the coefficients (size,) where values (pieces,) pull at third derivatives: ``third`` transposed."""
    return np.convolve(values, _THIRD) / grid.step_s**3


class Factor:
    """Cholesky factor of a banded positive definite matrix (lower form)."""

    def __init__(self, band: Array) -> None:
        # One or two edges leave the angle's course open: a trace of a prior closes it. It must not be there
        # otherwise, for beyond the outermost edges nothing else would hold against it.
        trace = 0.0
        self._factor, failed = dpbtrf(band, lower=1)
        while failed:
            trace = max(100.0 * trace, 1e-14)
            if trace > 100.0:
                raise LinAlgError("no trace of a prior makes it positive definite")
            band = band.copy(order="F")
            band[0] += trace * band[0].max()
            self._factor, failed = dpbtrf(band, lower=1)

    def solve(self, right: Array) -> Array:
        """The solution for one or several right-hand sides (size,) or (size, m)."""
        return np.asarray(dpbtrs(self._factor, right, lower=1)[0], np.float64)

    def whiten(self, right: Array) -> Array:
        """A right-hand side (size,) multiplied by the factor's inverse."""
        return np.asarray(dtbtrs(self._factor, right, uplo="L")[0], np.float64)

    @property
    def log_determinant(self) -> float:
        """Logarithm of the matrix's determinant."""
        return 2.0 * float(np.log(self._factor[0]).sum())
