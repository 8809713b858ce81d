"""Least squares on the board against NumPy's."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.firmware.loaded import fit


@given(st.integers(1, 5), st.randoms(use_true_random=False))
def test_solve_against_numpy(size, random):
    root = np.array([[random.uniform(-1, 1) for _ in range(size)] for _ in range(size)])
    matrix = root @ root.T + 0.1 * np.eye(size)
    right = np.array([random.uniform(-10, 10) for _ in range(size)])
    answer = fit.solve(matrix.tolist(), right.tolist())
    assert answer == pytest.approx(np.linalg.solve(matrix, right), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("matrix", [[[0.0]], [[1.0, 1.0], [1.0, 1.0]], [[1.0, 2.0], [2.0, 4.0]]])
def test_singular(matrix):
    assert fit.solve(matrix, [1.0] * len(matrix)) is None
