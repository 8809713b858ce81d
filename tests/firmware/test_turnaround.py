"""Vertices of exact parabolas: where edges alone place the turnaround, the firmware does to a few 10 microseconds."""

import math
import random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.firmware.loaded import search as searching
from tests.firmware.loaded import side as sides
from tests.firmware.loaded import turnaround

# Edge spacings per second squared: 20 is a heavy wheel with 6 magnets, 200 a light one with 12.
ACCELERATION = st.floats(20.0, 200.0)
# From the vertex to the nearest edge on either side: less than a spacing, whatever the hysteresis.
DISTANCE = st.floats(0.0, 1.0)
EDGES = st.integers(4, 16)
NEAR_S = 1e-4


def side(vertex_s: float, sign: int, distance: float, acceleration: float, count: int) -> sides.Side:
    """Edges before (-1) or after (+1) a vertex, from rest at a constant acceleration, nearest first."""
    us = [vertex_s + sign * math.sqrt(2 * (distance + k) / acceleration) for k in range(count)]
    return sides.Side(us, [-float(k) for k in range(count)])


def from_rest(vertex_s: float, distance: float, acceleration: float, count: int) -> sides.Side:
    """Edges behind a start from rest whose acceleration rises evenly to its full size while the pull builds up."""
    build = sides.BUILD_S
    us = []
    for k in range(count):
        way = 2 * (distance + k) / acceleration
        # Within the build-up the angle goes with the cube of the time, behind it with a square again.
        built = way > build * build / 3
        us.append(build / 2 + math.sqrt(way - build * build / 12) if built else (3 * build * way) ** (1 / 3))
    return sides.Side([vertex_s + u for u in us], [-float(k) for k in range(count)])


@given(DISTANCE, DISTANCE, ACCELERATION, ACCELERATION, EDGES)
def test_straight_round(before_x, after_x, braking, pulling, count):
    vertex_s = math.sqrt(2 * before_x / braking)
    before, after = side(vertex_s, -1, before_x, braking, count), side(vertex_s, 1, after_x, pulling, count)
    end_s, start_s = turnaround.fit_straight_or_paused(before, after)
    assert end_s == start_s == pytest.approx(vertex_s, abs=NEAR_S)
    assert (before.distance, after.distance) == pytest.approx((before_x, after_x), abs=0.01)
    turn = turnaround.Turn(0, before)
    assert turn.speed(1e-3, 1.0) == pytest.approx(1e-3 * braking, rel=0.02)
    assert turn.speed(0.05, 1.0) == pytest.approx(0.05 * braking, rel=0.02)


@given(DISTANCE, ACCELERATION, ACCELERATION, EDGES, st.floats(0.01, 0.2))
def test_a_turn_in_front_of_a_magnet(share, braking, pulling, count, zone):
    """The magnet's zone is entered and left again: one edge for two passes; the next one is the neighbour's.

    zone: its width in edge spacings; the wheel turns a ``share`` of it inside.
    """
    inside = share * zone
    vertex_s = math.sqrt(2 * inside / braking)
    # Back out through the zone's near side, then on to the far side of the magnet before.
    after_x = 1.0 - zone + inside
    before, after = side(vertex_s, -1, inside, braking, count), side(vertex_s, 1, after_x, pulling, count)
    end_s, start_s = turnaround.fit_straight_or_paused(before, after)
    assert end_s == start_s == pytest.approx(vertex_s, abs=NEAR_S)
    assert after.distance == pytest.approx(after_x, abs=0.01)


@given(DISTANCE, DISTANCE, ACCELERATION, ACCELERATION, EDGES, st.floats(0.1, 5.0))
def test_a_pause_keeps_both_times(before_x, after_x, braking, pulling, count, pause_s):
    end = math.sqrt(2 * before_x / braking)
    start = end + pause_s
    # A pause that is short against the time between the two nearest edges cannot be told from a slow turn.
    assume(pause_s > 0.2 * (start + math.sqrt(2 * after_x / pulling)))
    before, after = side(end, -1, before_x, braking, count), from_rest(start, after_x, pulling, count)
    found = turnaround.fit_straight_or_paused(before, after)
    # The search narrows each to a share of the time between the two edges.
    assert found == pytest.approx((end, start), abs=NEAR_S * (1 + pause_s))


@given(DISTANCE, DISTANCE, ACCELERATION, st.floats(2.0, 10.0), st.integers(6, 16), st.integers(0, 2**32))
def test_both_sides_keep_what_was_found_whatever_was_tried(before_x, after_x, pulling, harder, count, seed):
    """A brake that is let go in the midst of the edges before: changed torque and pauses are tried, most in vain."""
    at = math.sqrt(2 * before_x / (harder * pulling))
    before, after = side(at, -1, before_x, harder * pulling, count), side(at, 1, after_x, pulling, count)
    loose_s = before.us[count // 2]
    # Further off the brake was not there yet.
    speed = harder * pulling * (at - loose_s)
    for k in range(count // 2 + 1, count):
        before.us[k] = loose_s - (k - count // 2) / speed
    draw = random.Random(seed)
    for one in (before, after):
        one.us = [u + draw.gauss(0.0, 2e-4) for u in one.us]
        one.us.sort(reverse=one is before)
    end_s, start_s = turnaround.fit_straight_or_paused(before, after)
    assert (before.vertex, after.vertex) == (end_s, start_s)


@given(DISTANCE, ACCELERATION, EDGES)
def test_from_rest_and_to_rest(distance, acceleration, count):
    at = math.sqrt(2 * distance / acceleration)
    found, told_by, strays = turnaround.fit_end(side(at, -1, distance, acceleration, count), 30.0)
    assert (found, strays) == (pytest.approx(at, abs=1e-3), 0)
    assert told_by.distance == pytest.approx(distance, abs=0.05)
    after = from_rest(0.0, distance, acceleration, count)
    assert turnaround.fit_start(after, -30.0) == pytest.approx(0.0, abs=1e-3)


@given(st.floats(0.2, 0.9), ACCELERATION, st.floats(0.2, 0.6), st.integers(8, 16))
def test_a_stray_edge_behind_a_stop_is_no_part_of_it(distance, acceleration, share, count):
    """It came before the wheel can have reached the next magnet, which only a brake that is let go explains."""
    at = math.sqrt(2 * distance / acceleration)
    stopped = side(at, -1, distance, acceleration, count)
    stray = sides.Side([share * at, *stopped.us], [0.0] + [x - 1.0 for x in stopped.xs])
    found, told_by, strays = turnaround.fit_end(stray, 30.0)
    assert (found, strays) == (pytest.approx(at, abs=1e-3), 1)
    assert told_by.distance == pytest.approx(distance, abs=0.05)


@given(st.floats(0.3, 0.9), ACCELERATION, st.integers(0, 1))
def test_a_magnet_missed_at_a_start_where_it_is_known_where_the_wheel_stood(expected, acceleration, missed):
    after = from_rest(0.0, expected + missed, acceleration, 8)
    after.expected = expected
    after.lag_room, after.lag_spread = 0.02, 0.02
    assert turnaround.fit_start(after, -30.0) == pytest.approx(0.0, abs=5e-3)


@given(st.floats(-1.0, 1.0), st.floats(0.0, 3.0), st.integers(4, 20))
def test_search_finds_the_least_of_a_valley(at, low_by, steps):
    found = searching.search(lambda t: (t - at) ** 2, at - low_by, at + 3.0 - low_by, steps)
    assert found == pytest.approx(at, abs=3.0 * 2 / steps * 0.618**14 + 1e-6)
