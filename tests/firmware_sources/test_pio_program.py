"""The state machine's program, instruction by instruction: every change of the pins stamped to the microsecond."""

import random

import pytest

from tests.firmware_sources.boards_vm import needs_vm
from tests.firmware_sources.emulated import CYCLES_PER_US, program, stamps

MASK = 2**30 - 1
# The first look at the pins: 4 instructions before the loop, the third of the loop.
FIRST_LOOK = 6

pytestmark = needs_vm


def expected(changes: list[tuple[int, int]], first: int = FIRST_LOOK, x: int = 0) -> list[int]:
    """The words of the looks, 16 cycles apart, that find other levels than the look before."""
    words = []
    was = changes[0][1]
    last = changes[-1][0]
    for turn in range((last - first) // CYCLES_PER_US + 2):
        at = first + turn * CYCLES_PER_US
        level = [levels for cycle, levels in changes if cycle <= at][-1]
        if level != was:
            words.append(level << 30 | (x - turn) & MASK)
        was = level
    return words


def train(seed: int, pins: int, count: int, gap_us: tuple[float, float]) -> list[tuple[int, int]]:
    """Levels that change one pin at a time, ``gap_us`` apart."""
    draw = random.Random(seed)
    changes, at, level = [(0, 2**pins - 1)], 40.0, 2**pins - 1
    for _ in range(count):
        at += draw.uniform(*gap_us) * CYCLES_PER_US
        level ^= 1 << draw.randrange(pins)
        changes.append((round(at), level))
    return changes


def test_it_fits_and_both_ways_round_the_loop_take_as_long():
    for pins in (1, 2):
        assert len(program(pins).words) <= 32
    assert program(1).words != program(2).words


@pytest.mark.parametrize("pins", [1, 2])
@pytest.mark.parametrize("gap_us", [(1.1, 3.0), (5.0, 90.0)])
def test_every_change_is_stamped_when_it_was(pins, gap_us):
    changes = train(pins, pins, 60, gap_us)
    words = stamps(pins, changes, changes[-1][0] + 100)
    assert words == expected(changes)
    assert len(words) == 60
    # Against the edges themselves: never sooner, and within a microsecond.
    for word, (cycle, level) in zip(words, changes[1:], strict=True):
        assert word >> 30 == level
        late = FIRST_LOOK + (-word & MASK) * CYCLES_PER_US - cycle
        assert 0 <= late < CYCLES_PER_US


def test_nothing_comes_of_a_wheel_at_rest():
    assert stamps(2, [(0, 3)], 4000) == []


def test_a_change_shorter_than_a_look_is_no_edge():
    assert stamps(1, [(0, 1), (FIRST_LOOK + 161, 0), (FIRST_LOOK + 170, 1)], 1000) == []


@pytest.mark.parametrize("pins", [1, 2])
def test_the_count_goes_on_through_zero(pins):
    """Once in 71 minutes x is 0 before it falls: no way through the loop is shorter or longer for it."""
    full = 2**pins - 1
    # A change right in the turn where x is 0, and others around it.
    for offset in range(6):
        changes = [(0, full), (16 * offset, full - 1), (16 * 8, full), (16 * 12, full - 1)]
        if offset == 0:
            changes.pop(1)
            changes[1:] = [(16 * 8, full - 1), (16 * 12, full)]
        words = stamps(pins, changes, 16 * 16, x=3)
        assert words == expected(changes, first=2, x=3)
        assert len(words) in (2, 3)
