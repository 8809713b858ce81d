"""Pass 1 for a sensor that does not know the sense: what is let through, what is refused, and that all is counted."""

from itertools import accumulate

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.firmware.hot import MISSED_BEFORE, MOVE_FARTHER, MOVE_LAST, WRAP, counts, fresh, run
from tests.firmware.loaded import detector

PULSES = st.sampled_from([1, 2, 3, 6, 12, 24])
SIZES = st.lists(st.integers(1, 64), min_size=1, max_size=4)
# Bounces, steady running, rests, and all at once.
GAP = (
    st.integers(0, 3)
    | st.integers(0, 1_500)
    | st.integers(1_000, 60_000)
    | st.sampled_from([5_000, 10_000, 20_000])
    | st.integers(100_000, 3_000_000)
    | st.sampled_from([0x800000, WRAP // 2, WRAP - 1])
)
GAPS = st.lists(GAP, max_size=150)
# The same interval again and again with something odd in it now and then.
RUNS = st.lists(
    st.tuples(st.integers(300, 50_000), st.integers(1, 12), st.integers(0, 100_000)), max_size=8
).map(lambda runs: [gap for every, times, odd in runs for gap in [*[every] * times, odd]])


def edges_from(gaps: list[int], first: int = 0) -> list[tuple[int, int]]:
    return [(t, 0) for t in accumulate(gaps, initial=first)]


def magnets(out: list[tuple[int, int]]) -> int:
    """How many the accepted edges count."""
    special = {MOVE_LAST: 0, MOVE_FARTHER: 1, MISSED_BEFORE: 2}
    return sum(special.get(code, code) for _, code in out)


@settings(max_examples=300)
@given(PULSES, GAPS | RUNS, SIZES, st.integers(0, WRAP - 1), st.booleans())
def test_every_edge_is_let_through_or_counted(pulses, gaps, sizes, first, slow):
    """Accepted + refused = given, whatever comes; and no value that a 32-bit board could not hold."""
    state = fresh(pulses_per_rev=pulses).state
    state[detector._SLOW] = slow
    edges = edges_from(gaps, first)
    given_times = [t % WRAP for t, _ in edges]
    out = run(detector.accept, state, edges, sizes)

    bounced, missed, spurious = counts(state)
    farther = sum(code == MOVE_FARTHER for _, code in out)
    moved = sum(code == MOVE_LAST for _, code in out) + farther
    # Where a later edge takes an earlier one's place, the earlier one is the spurious one.
    assert len(out) - moved + bounced + spurious == len(edges)
    advances = [code for _, code in out if code not in (MOVE_LAST, MISSED_BEFORE, MOVE_FARTHER)]
    assert all(1 <= code <= 8 for code in advances)
    doubles = sum(code == MISSED_BEFORE for _, code in out)
    assert missed == sum(code - 1 for code in advances) + doubles + farther
    # In order, each at its own time.
    rest = iter(given_times)
    assert all(t in rest for t, _ in out)
    assert all(0 <= value < WRAP for value in state)


@settings(max_examples=60)
@given(PULSES, GAPS | RUNS, SIZES, SIZES)
def test_batches_do_not_matter(pulses, gaps, sizes, other_sizes):
    edges = edges_from(gaps)
    one, other = fresh(pulses_per_rev=pulses).state, fresh(pulses_per_rev=pulses).state
    assert run(detector.accept, one, edges, sizes) == run(detector.accept, other, edges, other_sizes)
    assert one == other


@settings(max_examples=60)
@given(PULSES, (GAPS | RUNS).filter(bool), st.data())
def test_the_counter_may_wrap_at_any_edge(pulses, gaps, data):
    edges = edges_from(gaps)
    place = data.draw(st.integers(0, len(edges) - 1))
    shift = WRAP - edges[place][0] % WRAP
    one, other = fresh(pulses_per_rev=pulses).state, fresh(pulses_per_rev=pulses).state
    plain = run(detector.accept, one, edges, [64])
    shifted = run(detector.accept, other, [(t + shift, step) for t, step in edges], [64])
    assert [((t + shift) % WRAP, code) for t, code in plain] == shifted
    assert counts(one) == counts(other)


def test_an_even_run_goes_through_as_it_is():
    state = fresh().state
    edges = edges_from([10_000] * 50)
    assert run(detector.accept, state, edges, [64]) == [(t, 1) for t, _ in edges]
    assert counts(state) == (0, 0, 0)


@pytest.mark.parametrize("after_us", [0, 1, 30, 400, 990])
def test_a_bounce_is_left_out(after_us):
    state = fresh().state
    edges = edges_from([10_000] * 20)
    bounced = sorted([*edges, (edges[10][0] + after_us, 0)])
    assert [t for t, _ in run(detector.accept, state, bounced, [64])] == [t for t, _ in edges]
    assert counts(state) == (1, 0, 0)


def test_a_bounce_does_not_take_the_place_of_an_edge_that_came_early():
    """Of a magnet that sits 1.5 degrees before its place: late by as much, the bounce would fit better."""
    state = fresh(inertia_kg_m2=0.12, drum_radius_m=0.015).state
    edges = edges_from([15_000] * 20)
    edges[10] = (edges[10][0] - 650, 0)
    bounced = sorted([*edges, (edges[10][0] + 660, 0)])
    assert run(detector.accept, state, bounced, [64]) == [(t, 1) for t, _ in edges]
    assert counts(state) == (1, 0, 0)


@pytest.mark.parametrize("share", [0.3, 0.5, 0.7])
def test_a_stray_edge_between_two_magnets_costs_no_count(share):
    """Sooner than the wheel can have reached the next magnet."""
    state = fresh(inertia_kg_m2=0.12, drum_radius_m=0.015).state
    edges = edges_from([10_000] * 20)
    stray = sorted([*edges, (edges[10][0] + int(10_000 * share), 0)])
    out = run(detector.accept, state, stray, [64])
    assert magnets(out) == len(edges)
    assert out[-1][0] == edges[-1][0]
    assert counts(state) == (0, 0, 1)


@pytest.mark.parametrize("share", [0.5, 0.55, 0.6])
def test_a_stray_edge_costs_no_count_where_the_wheel_could_have_been_that_quick(share):
    """With two magnets it can reach the next one in half the time, but none that ran steadily does, twice."""
    state = fresh(pulses_per_rev=2).state
    edges = edges_from([50_000] * 20)
    stray = sorted([*edges, (edges[10][0] + int(50_000 * share), 0)])
    out = run(detector.accept, state, stray, [64])
    assert magnets(out) == len(edges)
    assert counts(state) == (0, 0, 1)


def test_a_stray_edge_beside_a_missed_magnet_costs_no_count():
    """It comes half-way to the magnet after the missed one: that one is two spacings on, not none."""
    state = fresh(pulses_per_rev=24, inertia_kg_m2=0.12, drum_radius_m=0.015).state
    edges = edges_from([3_400] * 30)
    given_edges = sorted([*edges[:15], (edges[14][0] + 5_000, 0), *edges[16:]])
    out = run(detector.accept, state, given_edges, [64])
    assert (edges[16][0], MOVE_FARTHER) in out
    assert magnets(out) == len(edges)
    assert counts(state) == (0, 1, 1)


def test_a_stray_edge_in_a_pull_takes_no_magnets_place():
    """Each interval is shorter than the one before: the true edge before it looked too early, and went."""
    state = fresh(pulses_per_rev=4, inertia_kg_m2=0.12, drum_radius_m=0.015).state
    edges = edges_from([107_000, 72_000, 58_000, 49_400, 44_000, 40_900, 38_300, 35_900, 33_900])
    stray = sorted([*edges, (edges[5][0] + 17_000, 0)])
    assert run(detector.accept, state, stray, [64]) == [(t, 1) for t, _ in edges]
    assert counts(state) == (0, 0, 1)


@pytest.mark.parametrize("missing", [1, 2, 3])
def test_missed_magnets_are_counted(missing):
    """At 100 magnets a second no brake on that wheel gives twice the interval."""
    state = fresh(inertia_kg_m2=0.12, drum_radius_m=0.015).state
    edges = edges_from([10_000] * 30)
    seen = edges[:15] + edges[15 + missing :]
    out = run(detector.accept, state, seen, [64])
    assert magnets(out) == len(edges)
    assert counts(state) == (0, missing, 0)


@example(gap_us=1_000_000)
@given(st.integers(700_000, WRAP - 1))
def test_after_a_rest_all_is_forgotten(gap_us):
    """The first interval after a rest is no interval of the wheel: nothing is missed, nothing spurious."""
    state = fresh().state
    edges = edges_from([*[10_000] * 10, gap_us, *[10_000] * 10])
    assert [code for _, code in run(detector.accept, state, edges, [64])] == [1] * len(edges)
    assert counts(state) == (0, 0, 0)
