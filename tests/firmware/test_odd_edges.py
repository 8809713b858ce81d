"""How far an edge is off the cubic through its neighbours: viper's whole numbers against the formula in floats."""

import random
from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.bench.counting.instrument import SMALL_INT
from tests.firmware.loaded import mending
from tests.firmware.loaded import stretch as stretches
from tests.firmware.watched import watched_module

UNIT = 1 << 14
NOT_EVEN = 9 << 14
MASK = (1 << 30) - 1
TURN_AT = 17
COUNT = 11


def stretched(magnets, times_us, paths, *, sense=1, turn_at=0, first_number=0):
    """A stretch that holds these edges, its magnets up to a tenth of a spacing from even."""
    draw = random.Random(magnets)
    stretch = mending.MendedStretch(magnets)
    offsets = [draw.uniform(-0.1, 0.1) for _ in range(stretch.table.magnets)]
    stretch.table.take(array("f", offsets), 3)
    stretch.sense = sense
    stretch.first_number = first_number
    stretch.state[COUNT] = len(times_us)
    stretch.state[TURN_AT] = turn_at
    for place, (t, path) in enumerate(zip(times_us, paths, strict=True)):
        stretch.buffer[place] = t & MASK
        stretch.buffer[stretches.CAPACITY + place] = path
    return stretch


def pull(count, gap_us, draw):
    """Times of edges that come quicker and quicker, and scatter."""
    t = MASK - 3 * gap_us
    times = []
    for k in range(count):
        times.append(t + draw.randint(-gap_us // 100 - 1, gap_us // 100 + 1))
        t += gap_us - k * gap_us // (2 * count)
    return times


@pytest.mark.parametrize("magnets", [1, 2, 6, 24])
@pytest.mark.parametrize("gap_us", [300, 5_000, 40_000, 900_000])
@pytest.mark.parametrize("sense", [1, -1])
def test_whole_numbers_say_what_the_formula_says(magnets, gap_us, sense):
    draw = random.Random(gap_us)
    first = draw.randint(-40, 40)
    stretch = stretched(
        magnets, pull(40, gap_us, draw), range(7, 47), sense=sense, turn_at=30, first_number=first
    )
    found = stretch._odds(2, 38)
    # A whole microsecond of times that are whole ones, or two parts in 16,384.
    close = 2.0 + UNIT / 8.34 / (gap_us / 2)
    assert list(found) == pytest.approx([stretch._odd(k) * UNIT for k in range(2, 38)], abs=close, rel=1e-3)
    assert max(found) > 10


def test_a_missed_magnet_leaves_nothing_to_say_until_steps_are_even_again():
    paths = [*range(12), *range(13, 25)]
    found = stretched(6, pull(24, 20_000, random.Random(1)), paths)._odds(2, 22)
    # An edge and its four neighbours, two to a side, and the gap between places 11 and 12.
    assert [place for place, odd in enumerate(found, start=2) if odd == NOT_EVEN] == [10, 11, 12, 13]


def test_no_edges_are_no_answer():
    stretch = stretched(6, pull(24, 20_000, random.Random(1)), range(24))
    assert list(stretch._odds(2, -4)) == []


TIMES = st.lists(st.integers(0, MASK), min_size=5, max_size=60)


@pytest.fixture(scope="module")
def watched():
    return watched_module("mending")


@given(TIMES, st.integers(1, 24), st.integers(0, 1))
def test_integers_stay_within_what_a_board_has(watched, times, magnets, forwards):
    names, widths = watched
    edges = len(times)
    buffer = array("i", [0] * (2 * stretches.CAPACITY))
    buffer[:edges] = array("i", sorted(times) if forwards else times)
    buffer[stretches.CAPACITY : stretches.CAPACITY + edges] = array("i", range(edges))
    uneven = array("i", [random.Random(magnets).choice((-32768, 32768)) for _ in range(magnets)])
    asked = array("i", (2, edges - 2, 0, 0, forwards, magnets))
    names["_look_at"](buffer, uneven, asked, array("i", [0] * (edges - 4)))
    assert widths.values > 0
    assert widths.lines_beyond(SMALL_INT) == {}
