"""Has braking begun? The verdict over edge trains that are braked, unbraked, noisy or damaged."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.firmware.loaded import course, detector, stretch

RANGE = 36.0
LATE = 0.35
PACE_US = 15_000.0
# Noise of one edge in spacings: 15 microseconds at that pace.
NOISE = 0.001
BEND = 0.04


def wheel(
    brake_at: float,
    hardness: float = 1.0,
    *,
    ramp_s: float = 0.0,
    jitter_us: float = 0.0,
    seed: int = 0,
    until: float = LATE + 0.02,
    every: int = 1,
) -> stretch.Stretch:
    """A stretch past phi = 0 (path 36) with the braking's ramp beginning ``brake_at`` of the way back.

    hardness: 1 is the torque that stops the wheel where the rep began. The angle is summed up in steps of 0.1 ms;
    ``every`` nth magnet is there.
    """
    draw = random.Random(seed)
    board = stretch.Stretch(6)
    step_s = 1e-4
    speed = 1e6 / PACE_US
    needed = speed * speed / (2 * (1 - brake_at) * RANGE)
    t_s = angle = ramp_at_s = 0.0
    count = 0
    while angle < (1 + until) * RANGE:
        braked = 0.0
        if angle > (1 + brake_at) * RANGE:
            ramp_at_s = ramp_at_s or t_s
            braked = hardness * needed * min(1.0, (t_s - ramp_at_s) / ramp_s if ramp_s else 1.0)
        moved = speed * step_s
        if angle + moved >= count * every:
            at_us = (t_s + step_s * (count * every - angle) / moved) * 1e6
            board.buffer[count] = 1_000_000 + round(at_us + draw.uniform(-jitter_us, jitter_us))
            board.buffer[stretch.CAPACITY + count] = count
            count += 1
        angle += moved
        speed -= braked * step_s
        t_s += step_s
    board.state[detector._COUNT] = count
    return board


def verdict(
    board: stretch.Stretch, *, noise: float = NOISE, later_us: int = 3_000, every: int = 1, over: bool = True
) -> int:
    return course.judge(*_seen(board, noise, later_us, every), over)


def score(board: stretch.Stretch, *, noise: float = NOISE, later_us: int = 3_000, every: int = 1) -> float:
    """How much is seen of what makes a verdict of braking: 1 and more is enough, at the last moment."""
    share, unsure, bent = course.braking(*_seen(board, noise, later_us, every))
    return max(share / max(course._SHARE, unsure), bent)


def _seen(board, noise, later_us, every):
    now = board.buffer[board.count - 1] + later_us
    zero = RANGE / every
    return board, zero, LATE * zero, zero, zero, noise, BEND, now


SEED = st.integers(0, 2**32)


@given(st.floats(0.0, 15.0), SEED)
def test_unbraked(jitter_us, seed):
    board = wheel(0.5, jitter_us=jitter_us, seed=seed)
    assert score(board) < 0.5
    assert verdict(board) == 1


@given(st.floats(0.05, 0.27), st.floats(1.0, 1.6), st.floats(0.0, 15.0), SEED)
def test_braked(brake_at, hardness, jitter_us, seed):
    board = wheel(brake_at, hardness, jitter_us=jitter_us, seed=seed)
    assert verdict(board) == -1
    # The beep cannot be taken back: before the last moment it must not be on its way either.
    assert verdict(board, over=False) != 1


@pytest.mark.parametrize("ramp_s", [0.03, 0.1, 0.3])
def test_a_gentle_ramp_is_seen(ramp_s):
    """A ramp has come to a tenth of its torque after a tenth of its time: that is the onset."""
    onset = 0.29
    travelled = 0.1 * ramp_s * 1e6 / PACE_US / RANGE
    assert score(wheel(onset - travelled, 1.3, ramp_s=ramp_s)) >= 1.0


@pytest.mark.parametrize("ramp_s", [0.03, 0.1, 0.3])
def test_a_ramp_that_is_late_is_none_yet(ramp_s):
    travelled = 0.1 * ramp_s * 1e6 / PACE_US / RANGE
    assert score(wheel(0.40 - travelled, 1.3, ramp_s=ramp_s)) < 1.0


def test_noise_alone_decides_nothing():
    """The same edges, once believed and once not: what was clear becomes less clear, never clearer."""
    board = wheel(0.28, 1.0)
    by_noise = [score(board, noise=noise) for noise in (0.001, 0.004, 0.016, 0.064)]
    assert by_noise == sorted(by_noise, reverse=True)
    assert by_noise[0] > 1.0 > by_noise[-1]
    assert verdict(board, noise=0.064, over=False) == 0


def test_the_longer_and_harder_the_brake_the_clearer():
    by_onset = [score(wheel(at)) for at in (0.34, 0.32, 0.3, 0.28, 0.26)]
    assert by_onset == sorted(by_onset)
    by_force = [score(wheel(0.28, hardness)) for hardness in (0.0, 0.25, 0.5, 1.0, 1.5)]
    assert by_force == sorted(by_force)


def test_a_newest_edge_that_no_wheel_makes_changes_nothing():
    free = wheel(0.5)
    last = free.count - 1
    for early_us in (-9_000, 2_000, 5_000):
        # Half a spacing late or a good deal early.
        board = wheel(0.5)
        board.buffer[last] -= early_us
        assert score(board) < 0.5
    board = wheel(0.5)
    # The newest edge came a magnet later than counted.
    board.buffer[last] += int(PACE_US)
    assert score(board) < 0.5


def test_few_magnets_an_edge_that_is_overdue_says_brake():
    """Two magnets a turn, 45 ms apart: that the next has not come is news before it comes."""
    board = wheel(0.5, every=3)
    assert score(board, every=3, later_us=44_000) < 0.5
    assert score(board, every=3, later_us=47_000) > 1.0
    # Overdue beyond any braking: it was missed.
    assert score(board, every=3, later_us=400_000) < 0.5


def test_too_few_edges_say_nothing():
    board = wheel(0.5)
    board.state[detector._COUNT] = 2
    assert course.braking(*_seen(board, NOISE, 3_000, 1)) is None
    assert verdict(board, over=False) == 0
    assert verdict(board) == 1
