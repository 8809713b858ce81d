"""Least squares on the board against NumPy's."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.firmware.loaded import fit

VALUE = st.floats(-1e3, 1e3, allow_subnormal=False)


def fitted(xs, ys, degree):
    """Coefficients of the local polynomial through all points, or None; its angles start at the first point's."""
    answer = fit.local(list(xs), list(ys), 0, len(xs) - 1, 0.0, 1.0, degree)
    return answer and [answer[0] + ys[0], *answer[1:]]


@given(st.integers(1, 3), st.lists(st.tuples(st.floats(-1, 1), VALUE), min_size=2, max_size=20))
def test_polynomial_against_numpy(degree, points):
    xs, ys = (np.array(column) for column in zip(*points, strict=True))
    # Points that do not carry the degree are another test's.
    assume(np.unique(np.round(xs, 2)).size > degree + 1)
    expected = np.polynomial.polynomial.polyfit(xs, ys, degree)
    assert fitted(xs, ys, degree) == pytest.approx(
        [*expected, *[0.0] * (3 - degree)], rel=1e-6, abs=1e-6 * max(1.0, np.abs(ys).max())
    )


GRID = st.lists(st.integers(-10, 10), min_size=5, max_size=21, unique=True)


@given(st.lists(VALUE, min_size=4, max_size=4), GRID)
def test_a_cubic_comes_back(coefficients, grid):
    xs = [place / max(map(abs, grid)) for place in grid]
    ys = list(np.polynomial.polynomial.polyval(xs, coefficients))
    assert fitted(xs, ys, 3) == pytest.approx(coefficients, abs=1e-3)


@given(st.floats(-5, 5), st.floats(0.5, 2.0))
def test_time_is_shifted_and_scaled(at, scale):
    ts = [at + scale * u for u in (-1.0, -0.5, 0.1, 0.6, 1.0)]
    xs = [3.0 + 2.0 * (t - at) / scale - ((t - at) / scale) ** 2 for t in ts]
    found = fit.local(ts, xs, 0, 4, at, scale, 2)
    assert found is not None
    assert [found[0] + xs[0], *found[1:]] == pytest.approx([3.0, 2.0, -1.0, 0.0], abs=1e-9)


@pytest.mark.parametrize("degree", [1, 2, 3])
@pytest.mark.parametrize("xs", [[0.5], [0.5, 0.5], [0.25] * 9])
def test_points_that_carry_no_line(xs, degree):
    assert fitted(xs, [1.0] * len(xs), degree) is None


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
