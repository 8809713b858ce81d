"""Pairing of reps: by overlap in time, one to one, greatest in total."""

from itertools import permutations

from hypothesis import given
from hypothesis import strategies as st

from brakebeat.check import match

from .builders import make_rep


def spans(*bounds):
    return [make_rep(i, start, end - start) for i, (start, end) in enumerate(bounds)]


def test_a_rep_that_one_engine_missed():
    reference = spans((0, 2), (2, 4), (4, 6), (6.5, 8.5))
    firmware = spans((0.01, 2.01), (4.02, 5.99), (6.4, 8.5))
    result = match(firmware, reference)
    assert result.pairs == [(0, 0), (1, 2), (2, 3)]
    assert (result.only_firmware, result.only_reference) == ([], [1])


def test_merged_and_cut_reps_find_no_partner():
    two, one = spans((0, 2), (2, 4)), spans((0, 4))
    assert match(one, two).pairs == []
    assert match(two, one).pairs == []
    assert match(two, one).only_firmware == [0, 1]
    # ... but an uneven cut leaves the greater part a partner.
    assert match(spans((0, 3), (3, 4)), one).pairs == [(0, 0)]


def test_greatest_total_beats_first_come():
    # Overlaps allowed for once: the first of each would be a pair, but crosswise shares more time in total.
    firmware = spans((0, 10), (2, 12))
    reference = spans((2, 12), (1, 10))
    assert match(firmware, reference, 0.3).pairs == [(1, 0), (0, 1)]


def test_order_and_length_do_not_matter():
    reference = spans((4, 6), (0, 2), (2, 4))
    firmware = spans((2, 4), (4, 6), (0, 2), (9, 9))
    result = match(firmware, reference)
    assert sorted(result.pairs) == [(0, 2), (1, 0), (2, 1)]
    assert result.only_firmware == [3]
    assert match([], []).pairs == []
    assert match([], reference).only_reference == [0, 1, 2]


span = st.tuples(st.integers(0, 40), st.integers(0, 15)).map(lambda s: (s[0], s[0] + s[1]))


@given(st.lists(span, max_size=5), st.lists(span, max_size=5), st.sampled_from([0.0, 0.3, 0.5, 0.8]))
def test_total_is_the_greatest_there_is(left, right, min_overlap):
    firmware, reference = spans(*left), spans(*right)

    def shared(i, j):
        a, b = firmware[i], reference[j]
        common = min(a.end_us, b.end_us) - max(a.start_us, b.start_us)
        whole = max(a.end_us, b.end_us) - min(a.start_us, b.start_us)
        return common if common > 0 and common > min_overlap * whole else 0

    result = match(firmware, reference, min_overlap)
    assert all(shared(i, j) for i, j in result.pairs)
    assert sorted([i for i, _ in result.pairs] + result.only_firmware) == list(range(len(firmware)))
    assert sorted([j for _, j in result.pairs] + result.only_reference) == list(range(len(reference)))
    # Every way of lining the shorter side up against the longer one.
    swap = len(firmware) > len(reference)
    short, long = (len(reference), len(firmware)) if swap else (len(firmware), len(reference))
    best = max(
        sum(shared(j, i) if swap else shared(i, j) for i, j in enumerate(line))
        for line in permutations(range(long), short)
    )
    assert sum(shared(i, j) for i, j in result.pairs) == best


def test_many_reps_stay_cheap():
    # Quadratic memory would need 3 GB here.
    reps = [make_rep(i, 2.5 * i) for i in range(20_000)]
    assert len(match(reps, reps).pairs) == 20_000
