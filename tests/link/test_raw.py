"""Raw edges out of notifications: every edge as it was, every loss counted, garbage refused."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.link.raw import RawDecoder, decode_edges
from tests.link.raw_messages import encode_edges, raw_message

DELTAS = st.lists(st.one_of(st.integers(0, 5000), st.integers(0, 2**31 - 1)), min_size=1, max_size=40)
STEPS = st.sampled_from([-1, 0, 1])


def test_an_edge_as_the_protocol_has_it():
    # LEB128's own example (DWARF 5, section 7.6): 624485 is e5 8e 26; here a delta of 156121 us and a step of +1.
    assert 156121 << 2 | 1 == 624485
    deltas, steps = decode_edges(bytes([0, 0xE5, 0x8E, 0x26]))
    assert (deltas.tolist(), steps.tolist()) == ([0, 156121], [0, 1])


@given(st.integers(0, 2**40), DELTAS, st.data())
def test_edges_come_back_in_any_cut(begin_us, deltas, data):
    times = begin_us + np.cumsum(deltas)
    steps = np.array(data.draw(st.lists(STEPS, min_size=len(deltas), max_size=len(deltas))), np.int8)
    cuts = sorted(data.draw(st.sets(st.integers(1, len(deltas)), max_size=5)) | {len(deltas)})
    decoder = RawDecoder(begin_us, 1, follows_gap=False)
    got_times, got_steps, first = [], [], 0
    for number, cut in enumerate(cuts):
        event = decoder.feed(raw_message(number, 0, times[first:cut], steps[first:cut]))
        assert event.missing == 0
        got_times += event.t_us.tolist()
        got_steps += event.step.tolist()
        first = cut
    assert (got_times, got_steps) == (times.tolist(), steps.tolist())


def test_long_rests_with_heartbeats_are_told_from_short_ones():
    decoder = RawDecoder(10, 1, follows_gap=False)
    for number in range(30):
        assert decoder.feed(raw_message(number, 0, [], [], now_us=(number + 1) * 1_000_000_000)) is None
    event = decoder.feed(raw_message(30, 0, [30_400_000_000], [1]))
    assert event.t_us.tolist() == [30_400_000_000]


def test_what_the_board_lost_is_counted_where_it_was_lost():
    decoder = RawDecoder(0, 1, follows_gap=False)
    missing = [
        decoder.feed(raw_message(n, lost, [1000 * n], [0])).missing
        for n, lost in enumerate([0, 3, 3, 65_540])
    ]
    assert missing == [0, 3, 0, 1]


def test_a_notification_that_never_came_is_a_hole_of_unknown_size():
    decoder = RawDecoder(0, 1, follows_gap=False)
    assert decoder.feed(raw_message(0, 0, [1], [0])).missing == 0
    assert decoder.feed(raw_message(2, 5, [2], [0])).missing is None
    assert decoder.feed(raw_message(3, 5, [3], [0])).missing == 0


def test_heartbeats_keep_a_loss_for_the_next_edges():
    decoder = RawDecoder(0, 1, follows_gap=False)
    assert decoder.feed(raw_message(0, 4, [], [], now_us=5)) is None
    assert decoder.feed(raw_message(1, 6, [9], [0])).missing == 6


def test_the_counter_of_notifications_wraps():
    decoder = RawDecoder(0, 1, follows_gap=False)
    for number in range(70_000):
        assert decoder.feed(raw_message(number, 0, [number * 10], [0])).missing == 0


def test_one_that_comes_twice_is_taken_once():
    decoder = RawDecoder(0, 1, follows_gap=False)
    message = raw_message(0, 0, [5], [0])
    assert decoder.feed(message) is not None
    assert decoder.feed(message) is None
    assert decoder.feed(raw_message(1, 0, [6], [0])).missing == 0


@given(st.lists(st.binary(max_size=60), max_size=30))
def test_garbage_does_no_harm(messages):
    decoder = RawDecoder(0, 1, follows_gap=False)
    for message in messages:
        event = decoder.feed(message)
        assert event is None or (event.t_us.size and (np.diff(event.t_us) >= 0).all())


@given(st.binary(max_size=40))
def test_what_is_decoded_is_what_was_coded(coded):
    decoded = decode_edges(coded)
    if decoded is not None:
        deltas, steps = decoded
        again = decode_edges(encode_edges(np.cumsum(np.r_[0, deltas]), np.r_[0, steps]))
        assert again[0].tolist()[1:] == deltas.tolist()
        assert again[1].tolist()[1:] == steps.tolist()
