"""Agreement statistics, against published numbers first."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.check import bland_altman

# Peak expiratory flow, l/min, first readings of the large and of the mini meter on 17 people.
# Bland and Altman, Lancet 1986;327(8476):307-310, doi 10.1016/S0140-6736(86)90837-8.
WRIGHT = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_peak_flow_as_published():
    # Same paper: mean -2.1, SD 38.8, limits -79.7 and 75.5; it takes 2 SD, from the two rounded values.
    result = bland_altman(WRIGHT, MINI, k=2)
    assert result.n == 17
    bias, sd = round(result.bias, 1), round(result.sd, 1)
    assert (bias, sd) == (-2.1, 38.8)
    assert round(bias - 2 * sd, 1) == -79.7
    assert round(bias + 2 * sd, 1) == 75.5


def test_peak_flow_without_rounding():
    # Worked out from the same data: 2 SD unrounded, and the usual 1.96 SD.
    two = bland_altman(WRIGHT, MINI, k=2)
    assert two.bias == pytest.approx(-36 / 17)
    assert two.sd == pytest.approx(38.7651, abs=5e-5)
    assert (two.loa_low, two.loa_high) == pytest.approx((-79.648, 75.413), abs=5e-4)
    usual = bland_altman(WRIGHT, MINI)
    assert (usual.loa_low, usual.loa_high) == pytest.approx((-78.097, 73.862), abs=5e-4)
    # The worst pair is the 15th (178 and 259), in absolute and relative terms.
    assert usual.max_abs == 81
    assert usual.max_rel == pytest.approx(81 / 259)


def test_few_pairs_leave_out_what_they_cannot_tell():
    assert bland_altman([], []).__dict__ == dict.fromkeys(
        ("bias", "sd", "loa_low", "loa_high", "max_abs", "max_rel")
    ) | {"n": 0}
    one = bland_altman([3.0], [2.0])
    assert (one.n, one.bias, one.max_abs, one.max_rel) == (1, 1.0, 1.0, 0.5)
    assert one.sd is one.loa_low is one.loa_high is None


def test_ratio_to_zero():
    assert bland_altman([0.0, 1.0], [0.0, 1.0]).max_rel == 0
    assert bland_altman([1.0, 1.0], [0.0, 1.0]).max_rel is None
    assert bland_altman([1e300], [1e-300]).max_rel is None


@pytest.mark.parametrize("bad", [([1.0], []), ([[1.0]], [[1.0]]), ([math.nan], [1.0]), ([1.0], [math.inf])])
def test_pairs_that_are_none(bad):
    with pytest.raises(ValueError, match=r"pairs|finite"):
        bland_altman(*bad)


values = st.floats(-1e6, 1e6)
pairs = st.lists(st.tuples(values, values), min_size=2, max_size=40)


@given(pairs)
def test_properties(both):
    a, b = zip(*both, strict=True)
    result = bland_altman(a, b)
    back = bland_altman(b, a)
    assert back.bias == pytest.approx(-result.bias, abs=1e-6)
    assert back.sd == pytest.approx(result.sd, abs=1e-6)
    assert result.loa_low <= result.bias <= result.loa_high
    assert result.max_abs >= abs(result.bias) - 1e-6
    shifted = bland_altman([x + 10 for x in a], b)
    assert shifted.bias == pytest.approx(result.bias + 10, abs=1e-6)
    assert shifted.sd == pytest.approx(result.sd, abs=1e-5)
