"""The ring between interrupt and main loop: first in, first out, what finds no place is counted."""

from array import array
from collections import deque

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.firmware.loaded import edges

TICKS = st.integers(0, 2**30 - 1)
PUT = st.tuples(TICKS, st.sampled_from([-1, 0, 1]))
# A list of edges is put, a number is the room for which is asked.
ACTIONS = st.lists(st.lists(PUT, max_size=12) | st.integers(0, 12), max_size=40)


@given(st.sampled_from([2, 4, 8, 16]), ACTIONS)
def test_against_a_plain_queue(capacity, actions):
    ring = edges.EdgeRing(capacity)
    queue: deque[tuple[int, int]] = deque()
    lost = 0
    for action in actions:
        if isinstance(action, list):
            for edge in action:
                ring.put(*edge)
                # One place stays empty: it tells a full ring from an empty one.
                if len(queue) < capacity - 1:
                    queue.append(edge)
                else:
                    lost += 1
        else:
            times, steps = array("i", [7] * action), array("b", [5] * action)
            count = ring.take(times, steps)
            expected = [queue.popleft() for _ in range(min(action, len(queue)))]
            assert list(zip(times[:count], steps[:count], strict=True)) == expected
            assert set(times[count:]) <= {7}
            assert set(steps[count:]) <= {5}
        assert ring.lost == lost


def test_full_keeps_the_oldest():
    ring = edges.EdgeRing(4)
    for t in range(6):
        ring.put(t, 0)
    times, steps = array("i", [0] * 8), array("b", [0] * 8)
    assert ring.take(times, steps) == 3
    assert times[:3].tolist() == [0, 1, 2]
    assert ring.lost == 3
    ring.put(9, 1)
    assert ring.take(times, steps) == 1
    assert (times[0], steps[0]) == (9, 1)


@pytest.mark.parametrize("capacity", [-4, 0, 1, 3, 100])
def test_capacity_that_cannot_be(capacity):
    with pytest.raises(ValueError, match=f"power of two, not {capacity}"):
        edges.EdgeRing(capacity)


def test_no_more_than_asked_for_and_how_many_wait():
    ring = edges.EdgeRing(8)
    times, steps = array("i", [0] * 64), array("b", [0] * 64)
    for t in range(7):
        ring.put(t, 1)
    assert ring.waiting == 7
    assert ring.take(times, steps, 3) == 3
    assert (list(times[:3]), ring.waiting) == ([0, 1, 2], 4)
    for t in range(7, 10):
        ring.put(t, 1)
    assert (ring.take(times, steps), ring.waiting, ring.lost) == (7, 0, 0)
    assert list(times[:7]) == [3, 4, 5, 6, 7, 8, 9]
