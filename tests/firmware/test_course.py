"""Has braking begun? The verdict over edge trains that are braked, unbraked, or noisy."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.firmware.loaded import course, detector, stretch

RANGE = 36.0
PACE_US = 15_000.0
# Noise of one edge in spacings: 15 microseconds at that pace.
NOISE = 0.001


def wheel(brake_at: float, hardness: float, jitter_us: float, seed: int) -> stretch.Stretch:
    """A stretch that runs evenly past phi = 0 (spacing 36), brakes from ``brake_at`` of the way back, until 0.37.

    hardness: 1 stops the wheel where the rep began.
    """
    draw = random.Random(seed)
    board = stretch.Stretch(6)
    speed = 1 / PACE_US
    at = RANGE + brake_at * RANGE
    deceleration = hardness * speed * speed / (2 * (1 - brake_at) * RANGE)
    count = 0
    for place in range(int(1.37 * RANGE) + 1):
        t = place * PACE_US
        if place > at and deceleration:
            t = (
                at * PACE_US
                + (speed - (speed * speed - 2 * deceleration * (place - at)) ** 0.5) / deceleration
            )
        board.buffer[count] = 1_000_000 + int(t + draw.uniform(-jitter_us, jitter_us))
        board.buffer[stretch.CAPACITY + count] = place
        count += 1
    board.state[detector.COUNT] = count
    return board


def verdict(board: stretch.Stretch, lead: float = 0.09, overdue_us: int = 3_000) -> float:
    line = course.Course(board, board.count - 1, lead * RANGE, RANGE, RANGE, NOISE)
    return line.verdict(overdue_us)


SEED = st.integers(0, 2**32)


@given(st.floats(0.0, 5.0), SEED)
def test_unbraked(jitter_us, seed):
    assert verdict(wheel(0.5, 0.0, jitter_us, seed)) < 1.0


@given(st.floats(0.15, 0.27), st.floats(1.0, 1.6), st.floats(0.0, 5.0), SEED)
def test_braked(brake_at, hardness, jitter_us, seed):
    board = wheel(brake_at, hardness, jitter_us, seed)
    assert max(verdict(board), verdict(board, lead=0.045)) >= 1.0


def test_the_longer_and_harder_the_brake_the_clearer():
    by_onset = [verdict(wheel(at, 1.0, 0.0, 0)) for at in (0.34, 0.32, 0.3, 0.28, 0.26)]
    assert by_onset == sorted(by_onset)
    by_force = [verdict(wheel(0.28, hardness, 0.0, 0)) for hardness in (0.0, 0.25, 0.5, 1.0, 1.5)]
    assert by_force == sorted(by_force)


@pytest.mark.parametrize("overdue_us", [15_400, 15_600])
def test_an_edge_that_is_overdue_says_brake(overdue_us):
    """The next magnet was due after 15 ms: that it has not come is news before it comes."""
    board = wheel(0.5, 0.0, 0.0, 0)
    assert verdict(board, overdue_us=overdue_us) > 1.0 > verdict(board, overdue_us=14_900)


def test_an_edge_overdue_beyond_any_brake_was_missed():
    """No strap stops a wheel of this pace within a spacing."""
    board = wheel(0.5, 0.0, 0.0, 0)
    assert verdict(board, overdue_us=200_000) < 1.0


def test_a_magnet_missed_behind_the_course_is_no_brake():
    board = wheel(0.5, 0.0, 0.0, 0)
    last = board.count - 1
    for place in (last - 1, last):
        # The newest two edges came a magnet later than counted.
        board.buffer[place] += int(PACE_US)
    assert verdict(board) < 1.0


def test_a_stray_edge_is_no_brake():
    board = wheel(0.5, 0.0, 0.0, 0)
    last = board.count - 1
    board.buffer[last] = board.buffer[last - 1] + int(PACE_US / 3)
    assert verdict(board) < 1.0
