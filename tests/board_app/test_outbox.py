"""Queues of reps and cues: nothing is lost without being counted, nothing comes twice or out of turn."""

from hypothesis import given
from hypothesis import strategies as st

from tests.board_app.firmware import outbox, packed_rep, wire

ACTIONS = st.lists(st.sampled_from(["put", "take", "acknowledge", "rewind"]), max_size=200)


@given(actions=ACTIONS, capacity=st.integers(1, 8), data=st.data())
def test_rep_queue_against_a_plain_list(actions, capacity, data):
    queue = outbox.RepQueue(capacity)
    waiting, handed, lost, index = [], 0, 0, 0
    for action in actions:
        if action == "put":
            queue.put(packed_rep(index))
            waiting.append(index)
            index += 1
            if len(waiting) > capacity:
                waiting.pop(0)
                handed = max(0, handed - 1)
                lost += 1
        elif action == "take":
            message = queue.take()
            if handed == len(waiting):
                assert message is None
            else:
                assert outbox.rep_index(message) == waiting[handed]
                handed += 1
        elif action == "acknowledge":
            upto = data.draw(st.integers(0, index + 3))
            queue.acknowledge(upto)
            while handed and waiting[0] <= upto:
                waiting.pop(0)
                handed -= 1
        else:
            queue.rewind()
            handed = 0
        assert (queue.waiting, queue.handed, queue.lost) == (len(waiting), handed, lost)


def test_the_record_is_copied():
    queue = outbox.RepQueue(2)
    record = bytearray(packed_rep(5))
    queue.put(record)
    record[:] = bytes(wire.REP_SIZE)
    assert bytes(queue.take()) == packed_rep(5)


@given(st.lists(st.one_of(st.none(), st.tuples(st.integers(0, 3), st.integers(0, 2**20))), max_size=80))
def test_cues_are_announced_one_by_one_in_turn(events):
    line = outbox.CueLine(8)
    waiting, count = [], 0
    for number, event in enumerate(events):
        if event is None:
            if waiting:
                expected = waiting.pop(0)
                count += 1
                assert line.current(1) == (count & 0xFF, *expected)
            line.announced()
        else:
            line.put(event[0], event[1], number * 1000)
            waiting.append((event[0], event[1] & 0xFFFF, number))
            if len(waiting) > 7:
                waiting.pop(0)
                count += 1
        assert line.waiting == len(waiting)
        assert line.current(0)[0] == count & 0xFF


def test_no_cue_yet():
    assert outbox.CueLine().current(1) == (0, wire.CUE_NONE, 0, 0)
