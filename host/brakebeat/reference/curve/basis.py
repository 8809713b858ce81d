"""A grid's spline at given times as sparse matrices: the same times are asked for again and again at other weights."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csc_array, csr_array

from brakebeat.reference.model.spline import Array, Grid, Integers

# The ten pairs of a basis row's weights: where the first stands in the row, and the second so far behind it.
_ACROSS = np.array([0, 1, 2, 3, 0, 1, 2, 0, 1, 0])
_BELOW = np.array([0, 0, 0, 0, 1, 1, 1, 2, 2, 3])


class Basis:
    """Basis rows B (n, size): the four ``weights`` (n, 4) from coefficient ``first`` (n,) on."""

    def __init__(self, grid: Grid, first: Integers, weights: Array) -> None:
        count = len(first)
        self._size = grid.size
        columns = first[:, None] + np.arange(4)
        self._rows = csr_array(
            (weights.ravel(), columns.ravel(), np.arange(0, 4 * count + 1, 4)), shape=(count, grid.size)
        )
        # A band's columns lie one behind the other, as LAPACK has them.
        at = 4 * (first[:, None] + _ACROSS) + _BELOW
        products = weights[:, _ACROSS] * weights[:, _ACROSS + _BELOW]
        self._pairs = csc_array(
            (products.ravel(), at.ravel(), np.arange(0, 10 * count + 1, 10)), shape=(4 * grid.size, count)
        )

    def at(self, coefficients: Array) -> Array:
        """B·coefficients: what the rows give (n,)."""
        return np.asarray(self._rows @ coefficients, np.float64)

    def gram(self, precision: Array) -> Array:
        """Bᵀ·diag(precision)·B in lower banded form (4, size)."""
        band: Array = (self._pairs @ precision).reshape(self._size, 4).T
        return band

    def project(self, values: Array) -> Array:
        """Bᵀ·values for values (n,) or (n, m)."""
        return np.asarray(self._rows.T @ values, np.float64)
