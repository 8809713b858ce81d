"""Polynomials through a few points of a curve against NumPy's: viper's integers lose less than an edge scatters."""

import random
from array import array

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.bench.counting.instrument import SMALL_INT
from tests.firmware.loaded import polynomial
from tests.firmware.watched import watched_module

# Angles in millionths of a radian; an edge of a good sensor scatters by some 300 of them.
SCATTER = 300.0


def fitted(us, xs, degree):
    return polynomial.polynomial(array("i", us), array("i", xs), 0, len(us) - 1, degree)


def expected(us, xs, degree, middle_us, scale_us):
    """NumPy's coefficients in the same unit of time, and their standard deviations for points that scatter by 1."""
    u = (np.array(us, float) - middle_us) / scale_us
    powers = np.vander(u, degree + 1, increasing=True)
    found = np.linalg.lstsq(powers, np.array(xs, float), rcond=None)[0]
    return found, np.sqrt(np.diag(np.linalg.inv(powers.T @ powers)))


def pull(count, gap_s, draw, begin_us=0):
    """So many edges of a wheel whose speed changes by up to half of itself, at uneven times."""
    speed = draw.uniform(5.0, 60.0)
    took_s = count * gap_s
    change = draw.uniform(-0.5, 0.5) * speed / took_s
    times = np.cumsum([gap_s * draw.uniform(0.6, 1.4) for _ in range(count)])
    xs = speed * times + change * times**2 / 2 + [draw.gauss(0.0, SCATTER * 1e-6) for _ in times]
    return [begin_us + round(t * 1e6) for t in times], [round(x * 1e6) for x in xs]


@pytest.mark.parametrize("degree", [1, 2, 3])
@pytest.mark.parametrize(
    ("count", "gap_s"), [(4, 0.03), (6, 0.03), (7, 0.06), (9, 0.02), (25, 0.006), (49, 0.008)]
)
def test_against_numpy_to_a_tenth_of_what_edges_scatter(count, gap_s, degree):
    draw = random.Random(count)
    off = []
    for begin_us in (-(2**20), 0, 2**28) * 60:
        us, xs = pull(count, gap_s, draw, begin_us)
        *found, middle_us, scale_us = fitted(us, xs, degree)
        wanted, unsure = expected(us, xs, degree, middle_us, scale_us)
        off.append((found[: degree + 1] - wanted) / (SCATTER * unsure))
        assert found[degree + 1 :] == [0.0] * (3 - degree)
    assert np.sqrt(np.mean(np.square(off), axis=0)).max() < 0.1


@given(st.lists(st.integers(-1000, 1000), min_size=4, max_size=4))
def test_a_cubic_comes_back(shares):
    """Of a curve of 40 rad and more that is bent by up to 1 rad on half a window."""
    us = [2_000_000 + 10_000 * k for k in range(13)]
    cubic = np.array([1e4, 1e4, 1e3, 1e3]) * shares + [0.0, 2e7, 0.0, 0.0]
    xs = [round(np.polynomial.polynomial.polyval((t - us[6]) / 60_000, cubic)) for t in us]
    *found, middle_us, scale_us = fitted(us, xs, 3)
    assert middle_us == us[6]
    assert found == pytest.approx(cubic * (scale_us / 60_000.0) ** np.arange(4), abs=100.0)


@pytest.mark.parametrize("degree", [1, 2, 3])
@pytest.mark.parametrize("us", [[500], [500, 500], [250] * 9])
def test_points_that_carry_no_line(us, degree):
    assert fitted(us, [1] * len(us), degree) is None


@pytest.mark.parametrize("degree", [2, 3])
def test_two_times_carry_no_curve(degree):
    assert fitted([0, 0, 0, 9000, 9000, 9000], [0, 1, 2, 90, 91, 92], degree) is None


# Turnarounds 536 s apart, and four times the way of one, are the most that a curve holds.
POINT = st.tuples(st.integers(-(2**20), 2**29 - 2**21), st.integers(-(2**20), 2**28))


@pytest.fixture(scope="module")
def watched():
    return watched_module("polynomial")


@given(st.lists(POINT, min_size=2, max_size=400))
def test_integers_stay_within_what_a_board_has(watched, points):
    names, widths = watched
    points.sort()
    us, xs = (array("i", column) for column in zip(*points, strict=True))
    work = names["_WORK"]
    work[0], work[1] = 0, len(us)
    names["_scale"](us, xs, work)
    names["_sum_up"](us, xs, work)
    assert widths.values > 0
    assert widths.lines_beyond(SMALL_INT) == {}
