"""Where phi = 0 lies: half way between turnarounds, where pulls rise, whatever half reps and slips do."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.firmware.hot import fresh
from tests.firmware.loaded import detector, stretch, zero

RANGE = 36.0


def tracked(turnarounds: list[float]) -> zero.ZeroTracker:
    """A tracker that has seen these; above 0 is the high side."""
    tracker = zero.ZeroTracker()
    for position in turnarounds:
        tracker.add(position, position > 0)
    return tracker


def test_two_turnarounds_make_a_zero_and_a_third_makes_it_sure():
    tracker = zero.ZeroTracker()
    assert tracker.estimate() is None
    assert tracker.assumed()
    tracker.add(-30.0, False)
    assert tracker.estimate() is None
    tracker.add(40.0, True)
    assert tracker.estimate() == 5.0
    assert tracker.assumed()
    tracker.add(-30.0, False)
    assert not tracker.assumed()


@given(
    st.floats(-100, 100),
    st.lists(st.tuples(st.booleans(), st.floats(0.3, 0.8)), min_size=4, max_size=20),
    st.floats(0.0, 0.02),
    st.randoms(use_true_random=False),
)
def test_half_reps_do_not_move_it(middle, reps, spread, random):
    """Full reps in the majority on either side; a partial one ends anywhere between 30 and 80 % of the way."""
    tracker = zero.ZeroTracker()
    full, partial = [0, 0], [0, 0]
    high = True
    for is_partial, share in reps:
        share_now = 1.0 + random.uniform(-spread, spread)
        if is_partial and partial[high] + 1 < full[high]:
            share_now = share
            partial[high] += 1
        else:
            full[high] += 1
        tracker.add(middle + (share_now if high else -share_now) * RANGE, high)
        high = not high
    # Each side is as far off as its full turnarounds spread.
    assert tracker.estimate() == pytest.approx(middle, abs=spread * RANGE + 1e-9)


def test_a_drift_of_the_start_position_is_followed():
    """The newest 12 turnarounds a side decide; the athlete has moved by 3 spacings since the first ones."""
    tracker = tracked([side * RANGE for _ in range(12) for side in (1, -1)])
    assert tracker.estimate() == 0.0
    for _ in range(12):
        tracker.add(RANGE + 3.0, True)
        tracker.add(-RANGE + 3.0, False)
    assert tracker.estimate() == 3.0


def test_forgets():
    tracker = tracked([RANGE, -RANGE, RANGE])
    tracker.forget()
    assert tracker.estimate() is None
    assert tracker.assumed()


def test_turnarounds_move_a_calibrated_zero_by_half_a_spacing_at_most():
    """The calibration names the edge nearest to phi = 0; where beside it, only turnarounds can tell."""
    board = fresh()
    for place in range(3):
        board.stretch.buffer[place] = 1000 * place
        board.stretch.buffer[stretch.CAPACITY + place] = place
    board.state[detector._COUNT] = 3
    tracker = zero.ZeroTracker()
    tracker.mark(board.stretch)
    assert tracker.estimate() == 2.0
    assert not tracker.assumed()
    tracker.add(50.0, True)
    tracker.add(-10.0, False)
    assert tracker.estimate() == 2.5


def pulled(
    tracker: zero.ZeroTracker, middle: float, reaches: list[float], left: float, spread: float, random
) -> None:
    """Reps that turn round ``reaches`` from the middle; each pull rises with ``left`` of its way to go, nearly."""
    sense = 1.0
    tracker.add(middle - reaches[0], False)
    for before, after in pairwise(reaches):
        start = middle - sense * before
        tracker.add(middle + sense * after, sense > 0)
        tracker.add_pull(start, middle - sense * left * before + random.uniform(-spread, spread))
        sense = -sense


@given(
    st.floats(-100, 100),
    st.lists(st.floats(0.5, 1.1), min_size=3, max_size=14),
    st.floats(0.0, 0.3),
    st.randoms(use_true_random=False),
)
def test_pulls_tell_it_however_the_turnarounds_scatter(middle, shares, left, random):
    """Half reps and a wandering range move turnarounds by half the range; rises keep their share of the way."""
    tracker = zero.ZeroTracker()
    pulled(tracker, middle, [share * RANGE for share in shares], left, 0.0, random)
    # Turnarounds keep a small say: half the range off at most, at a weight of about (0.006 / 0.015 / 2)^2.
    assert tracker.estimate() == pytest.approx(middle, abs=0.04 * RANGE)


def test_a_slipped_count_is_noticed_at_the_next_pull():
    """Two magnets missed in a turnaround move everything that comes after."""
    tracker = zero.ZeroTracker()
    for middle in (0.0, 2.0):
        for number in range(3):
            for sense in (1.0, -1.0):
                if not tracker.estimate():
                    tracker.add(middle - sense * RANGE, sense < 0)
                tracker.add(middle + sense * RANGE, sense > 0)
                tracker.add_pull(middle - sense * RANGE, middle - sense * 3.6)
                # The very first pull has only what is usual to go by.
                known = middle > 0.0 or number > 0 or sense < 0.0
                assert tracker.estimate() == pytest.approx(middle, abs=0.05 if known else 0.01 * RANGE)


def test_pulls_that_agree_by_luck_make_no_slip_of_the_next():
    """One rise that is off by most of a spacing is an odd one, however well those before it agreed."""
    tracker = zero.ZeroTracker()
    tracker.add(-RANGE, False)
    for number in range(8):
        sense = 1.0 if number % 2 == 0 else -1.0
        tracker.add(sense * RANGE, sense > 0)
        tracker.add_pull(-sense * RANGE, -sense * (3.6 + 0.8 * (number == 6)))
    assert tracker.estimate() == pytest.approx(0.0, abs=0.2)


def test_an_odd_pull_moves_it_little():
    """A pull that lets go half-way reaches its full speed 9 spacings early."""
    tracker = zero.ZeroTracker()
    tracker.add(-RANGE, False)
    for number in range(8):
        sense = 1.0 if number % 2 == 0 else -1.0
        early = 9.0 if number == 6 else 0.0
        tracker.add(sense * RANGE, sense > 0)
        tracker.add_pull(-sense * RANGE, -sense * (3.6 + early))
        # The very first pull has only what is usual to go by.
        assert tracker.estimate() == pytest.approx(0.0, abs=0.01 * RANGE if number else 1.5)
