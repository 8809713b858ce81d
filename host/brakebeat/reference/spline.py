"""A uniform cubic spline for the shaft angle against time, smoothed by a penalty on its third derivative.

The model behind it: jerk is white noise of density ``q`` (rad²/s⁵), so the acceleration wanders like a random
walk; the edges measure the angle with known standard deviations. The best estimate and its covariance then
come from one banded system of normal equations, 4 diagonals wide, in time linear in the record's length.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError, cho_solve_banded, cholesky_banded

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

_THIRD = np.array([-1.0, 3.0, -3.0, 1.0])
# The ten pairs of a basis row's weights: where the first stands in the row, and the second so far behind it.
_ACROSS = np.array([0, 1, 2, 3, 0, 1, 2, 0, 1, 0])
_BELOW = np.array([0, 0, 0, 0, 1, 1, 1, 2, 2, 3])


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

    def basis(self, t_s: Array, derivative: int = 0) -> tuple[Integers, Array]:
        """First coefficient (n,) and the four weights (n, 4) that give a derivative (0 to 3) at times (n,)."""
        x = (np.asarray(t_s, float) - self.start_s) / self.step_s
        first = np.clip(np.floor(x).astype(np.int64), 0, self.pieces - 1)
        u = x - first
        v = 1.0 - u
        if derivative == 0:
            columns = (v**3, 3 * u**3 - 6 * u**2 + 4, 3 * v**3 - 6 * v**2 + 4, u**3)
            return first, np.stack(columns, axis=-1) / 6.0
        if derivative == 1:
            columns = (-(v**2), 3 * u**2 - 4 * u, -3 * v**2 + 4 * v, u**2)
            return first, np.stack(columns, axis=-1) / (2.0 * self.step_s)
        if derivative == 2:
            columns = (v, 3 * u - 2, 3 * v - 2, u)
            return first, np.stack(columns, axis=-1) / self.step_s**2
        return first, np.broadcast_to(_THIRD, (*u.shape, 4)) / self.step_s**3

    def value(self, coefficients: Array, t_s: Array, derivative: int = 0) -> Array:
        """The spline or one of its derivatives at times (n,)."""
        first, weights = self.basis(t_s, derivative)
        return (coefficients[first[..., None] + np.arange(4)] * weights).sum(axis=-1)

    def rows(self, t_s: Array, derivative: int = 0) -> Array:
        """Dense rows (n, size) that give a derivative at a few times, for covariances."""
        first, weights = self.basis(np.atleast_1d(t_s), derivative)
        dense = np.zeros((len(first), self.size))
        np.put_along_axis(dense, first[:, None] + np.arange(4), weights, axis=1)
        return dense


def gram(grid: Grid, first: Integers, weights: Array, precision: Array) -> Array:
    """Bᵀ·diag(precision)·B in lower banded form (4, size) for basis rows (first, weights)."""
    weighed = precision[:, None] * weights
    at = (first[:, None] + grid.size * _BELOW + _ACROSS).ravel()
    products = (weighed[:, _ACROSS] * weights[:, _ACROSS + _BELOW]).ravel()
    band: Array = (
        np.bincount(at, products, 4 * grid.size).reshape(4, grid.size).astype(np.float64, copy=False)
    )
    return band


def project(grid: Grid, first: Integers, weights: Array, values: Array) -> Array:
    """Bᵀ·values for values (n,) or (n, m)."""
    columns = values.reshape(len(values), -1)
    out = np.empty((grid.size, columns.shape[1]))
    at = (first[:, None] + np.arange(4)).ravel()
    for column in range(columns.shape[1]):
        out[:, column] = np.bincount(at, (weights * columns[:, column, None]).ravel(), grid.size)
    return out.reshape(grid.size, *values.shape[1:])


def penalty(grid: Grid, precision: Array) -> Array:
    """Lower banded form of the jerk penalty: Σ precision[k]·(third derivative in piece k)²."""
    band = np.zeros((4, grid.size))
    weighed = precision / grid.step_s**6
    for below in range(4):
        for a in range(4 - below):
            band[below, a : a + grid.pieces] += _THIRD[a] * _THIRD[a + below] * weighed
    return band


def third(grid: Grid, coefficients: Array) -> Array:
    """The third derivative in each piece (pieces,)."""
    return np.convolve(coefficients, _THIRD[::-1], mode="valid") / grid.step_s**3


class Factor:
    """Cholesky factor of a banded positive definite matrix (lower form)."""

    def __init__(self, band: Array) -> None:
        # One or two edges leave the angle's course open: a trace of a prior closes it. It must not be there
        # otherwise, for beyond the outermost edges nothing else would hold against it.
        trace = 0.0
        while True:
            try:
                if trace:
                    band = band.copy()
                    band[0] += trace * band[0].max()
                self._factor = cholesky_banded(band, lower=True, check_finite=False)
                return
            except LinAlgError:
                if trace > 1.0:
                    raise
                trace = max(100.0 * trace, 1e-14)

    def solve(self, right: Array) -> Array:
        """The solution for one or several right-hand sides (size,) or (size, m)."""
        return cho_solve_banded((self._factor, True), right, check_finite=False)

    @property
    def log_determinant(self) -> float:
        """Logarithm of the matrix's determinant."""
        return 2.0 * float(np.log(self._factor[0]).sum())
