"""Least squares on the board against NumPy's."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.firmware.loaded import fit

VALUE = st.floats(-1e3, 1e3, allow_subnormal=False)


@given(st.integers(0, 3), st.lists(st.tuples(st.floats(-1, 1), VALUE), min_size=2, max_size=20))
def test_polynomial_against_numpy(degree, points):
    xs, ys = (np.array(column) for column in zip(*points, strict=True))
    # Points that do not carry the degree are another test's.
    assume(np.unique(np.round(xs, 2)).size > degree + 1)
    assert fit.polynomial(list(xs), list(ys), degree) == pytest.approx(
        np.polynomial.polynomial.polyfit(xs, ys, degree), rel=1e-6, abs=1e-6 * np.abs(ys).max()
    )


GRID = st.lists(st.integers(-10, 10), min_size=5, max_size=21, unique=True)


@given(st.lists(VALUE, min_size=4, max_size=4), GRID)
def test_a_cubic_comes_back(coefficients, grid):
    xs = [place / max(map(abs, grid)) for place in grid]
    ys = list(np.polynomial.polynomial.polyval(xs, coefficients))
    assert fit.polynomial(xs, ys, 3) == pytest.approx(coefficients, abs=1e-3)


@pytest.mark.parametrize("xs", [[], [0.5], [0.5, 0.5], [0.25] * 9])
def test_points_that_carry_no_line(xs):
    assert fit.polynomial(xs, [1.0] * len(xs), 1) is None


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
