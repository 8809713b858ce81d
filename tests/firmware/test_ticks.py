"""Board time: differences of a 30-bit counter, whatever the port's own counter is."""

from hypothesis import given
from hypothesis import strategies as st

from tests.firmware.loaded import ticks

WRAP = 2**30
# MicroPython documents ticks_diff for differences in [-period/2, period/2 - 1].
LEAST, MOST = -(WRAP // 2), WRAP // 2 - 1


@given(st.integers(0, 2**62), st.integers(LEAST, MOST))
def test_difference_of_any_two_counts(start, elapsed):
    assert ticks.after(ticks.mask(start + elapsed), ticks.mask(start)) == elapsed


@given(st.integers(0, WRAP - 1), st.integers(0, WRAP - 1))
def test_there_and_back(one, other):
    forwards, back = ticks.after(one, other), ticks.after(other, one)
    assert LEAST <= forwards <= MOST
    assert forwards == -back or forwards == back == LEAST


def test_mask_keeps_small_integers():
    assert ticks.MASK == WRAP - 1
    assert ticks.mask(2**62 + 5) == 5
