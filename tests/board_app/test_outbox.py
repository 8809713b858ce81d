"""The line of cues: none hides behind another, none comes twice or out of turn."""

from hypothesis import given
from hypothesis import strategies as st

from tests.board_app.firmware import outbox

NO_CUE = 255


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
    assert outbox.CueLine().current(1) == (0, NO_CUE, 0, 0)
