"""Pass 1 for a sensor that knows the sense: a signed count thinned to lines, held against the count itself."""

from itertools import accumulate

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.firmware.hot import REVERSED, WRAP, fresh, run
from tests.firmware.loaded import detector

SIZES = st.lists(st.integers(1, 64), min_size=1, max_size=4)
# A walk by ones, and one that runs for a while each way.
WALK = st.lists(st.sampled_from([-1, 1]), min_size=1, max_size=300)
RUNS = st.lists(st.integers(-120, 120).filter(bool), min_size=1, max_size=8).map(
    lambda runs: [1 if run > 0 else -1 for run in runs for _ in range(abs(run))]
)
# 96, 600 and 2,400 counts a turn, and none at all.
THIN = st.sampled_from([1, 2, 3, 4, 7, 25, 100])


def crossings(walk: list[int], thin: int) -> list[tuple[int, int, int]]:
    """(edge, line, sense) of each passing of a multiple of ``thin``; a line lies between two counts."""
    found = []
    position = 0
    for edge, step in enumerate(walk):
        between = position if step > 0 else position - 1
        position += step
        # Between counts -1 and 0 is line 0, whichever way it is passed.
        line = between + 1
        if line % thin == 0:
            found.append((edge, line // thin, step))
    return found


def started(thin: int, position: int = 0):
    state = fresh().state
    state[detector._THIN] = thin
    state[detector._POSITION] = position
    return state


def edges_of(walk: list[int], first: int = 0) -> list[tuple[int, int]]:
    return [(first + 37 * place, step) for place, step in enumerate(walk)]


@settings(max_examples=300)
@given(WALK | RUNS, THIN, SIZES, st.integers(0, WRAP - 1))
def test_lines_and_reversals_are_exact(walk, thin, sizes, first):
    out = run(detector.decode, started(thin), edges_of(walk, first), sizes)
    expected = crossings(walk, thin)
    assert [t for t, _ in out] == [(first + 37 * edge) % WRAP for edge, _, _ in expected]
    # Followed along, each code leads from one line to the next; a line that is passed back is no advance.
    line, sense = (expected[0][1], expected[0][2]) if expected else (0, 1)
    for place, (_, code) in enumerate(out):
        if code == REVERSED:
            sense = -sense
        else:
            assert code == 1
            if place:
                line += sense
        assert (line, sense) == expected[place][1:]


@settings(max_examples=100)
@given(WALK | RUNS, THIN, SIZES, st.integers(-300, 300))
def test_a_count_near_its_limits_moves_no_line(walk, thin, sizes, off):
    """The count is brought back to the middle of its range as it runs out of it: 2^29 up, 0 down."""
    for limit in (thin, 0x1FFFFFFF):
        start = max(0, limit // thin * thin + off * thin)
        moved = run(detector.decode, started(thin, start), edges_of(walk), sizes)
        assert moved == run(detector.decode, started(thin), edges_of(walk), sizes)


@settings(max_examples=100)
@given(WALK | RUNS, THIN)
def test_the_state_stays_in_a_small_integer(walk, thin):
    state = started(thin)
    run(detector.decode, state, edges_of(walk), [64])
    assert all(0 <= value < WRAP for value in state)


@pytest.mark.parametrize("thin", [1, 4, 100])
def test_to_and_fro_over_one_line(thin):
    """A wheel that stands on a line and trembles never gets anywhere."""
    walk = [*[1] * thin * 3, *[-1, 1] * 40]
    out = run(detector.decode, started(thin), edges_of(walk), [64])
    assert [code for _, code in out[:3]] == [1, 1, 1]
    assert {code for _, code in out[3:]} == {REVERSED}


def test_the_walk_of_the_test_itself():
    assert list(accumulate([1, 1, -1, -1, -1])) == [1, 2, 1, 0, -1]
    # Up through lines 1 and 2, down through 2, 1 and 0.
    assert [line for _, line, _ in crossings([1, 1, -1, -1, -1], 1)] == [1, 2, 2, 1, 0]
