"""A turnaround is read and a rep worked out in parts, a poll each, so that all else is looked at in between."""

from array import array

import pytest

from tests.firmware.hot import WRAP
from tests.firmware.loaded import rigfile, session
from tests.firmware.test_session import RIG, edges_of, played


def fed(polls_an_edge: int) -> tuple[list[bytes], list[int]]:
    """Records of an encoder's reps, and the places of the edges after which each one came; so many polls, 1 ms apart or
    less, after each edge."""
    times, steps, pulses = edges_of("encoder")
    records: list[bytes] = []
    came = []
    board = session.Session(
        rigfile.defaults() | RIG | {"pulses_per_rev": pulses, "cues.late_cue": False},
        lambda record: records.append(bytes(record)),
        lambda *cue: None,
    )
    for place, (t, step) in enumerate(zip(times, steps, strict=True)):
        board.feed(array("i", [t % WRAP]), array("b", [step]), 1)
        after = times[place + 1] if place + 1 < len(times) else t + 1000
        for poll in range(polls_an_edge):
            board.poll((t + min(poll * 1000, after - t - 1)) % WRAP)
        came += [place] * (len(records) - len(came))
    for ms in range(3000):
        board.poll((times[-1] + 1000 * ms) % WRAP)
    return records, came


def test_parts_wait_for_polls_but_not_beyond_the_next_pull():
    whole, soon = fed(20)
    late, at_last = fed(0)
    assert len(whole) == len(played("encoder").reps) == 3
    assert late == whole
    turns = soon[:2]
    assert all(later - sooner > 0 for sooner, later in zip(turns, at_last, strict=False))
    # 20 rad of each pull are 300 counts; phi = 0 comes after half of the way.
    assert all(later - sooner < 200 for sooner, later in zip(turns, at_last, strict=False))


def test_what_is_left_of_a_rep_is_handed_over_at_rest():
    records, came = fed(1)
    assert len(records) == 3
    assert len(came) == 2


def test_a_rep_given_up_counts_as_incomplete():
    times, steps, pulses = edges_of("encoder")
    board = session.Session(
        rigfile.defaults() | RIG | {"pulses_per_rev": pulses}, lambda record: None, lambda *cue: None
    )
    for t, step in zip(times, steps, strict=True):
        board.feed(array("i", [t % WRAP]), array("b", [step]), 1)
        if board._job:
            break
    before = board.incomplete
    # As the board's program does where memory runs out. The stretch under way is lost as well.
    board.leave_out()
    assert (board._job, board.incomplete) == (None, before + 2)


def fed_magnets(polls_an_edge: int) -> tuple[list[bytes], list[int]]:
    """Records of the reps of magnets in dirt, and how many polls each turnaround took that was read in polls."""
    times, _, pulses = edges_of("magnets")
    records: list[bytes] = []
    took = []
    board = session.Session(
        rigfile.defaults() | RIG | {"pulses_per_rev": pulses, "cues.late_cue": False},
        lambda record: records.append(bytes(record)),
        lambda *cue: None,
    )
    for place, t in enumerate(times):
        board.feed(array("i", [t % WRAP]), array("b", [0]), 1)
        after = times[place + 1] if place + 1 < len(times) else t + 1000
        polls = 0
        for poll in range(polls_an_edge):
            polls += board._reading is not None
            board.poll((t + min(poll * 1000, after - t - 1)) % WRAP)
        if polls:
            took.append(polls)
    for ms in range(3000):
        board.poll((times[-1] + 1000 * ms) % WRAP)
    return records, took


@pytest.mark.parametrize("polls_an_edge", [0, 1, 2])
def test_edges_that_come_while_a_turnaround_is_read_are_taken_behind_it(polls_an_edge):
    whole, _ = fed_magnets(200)
    records, took = fed_magnets(polls_an_edge)
    assert len(whole) == len(played("magnets").reps) == 3
    assert records == whole
    assert bool(took) == (polls_an_edge > 0)


def test_a_turnaround_takes_several_polls():
    _, took = fed_magnets(200)
    assert min(took) >= 3


def test_edges_that_wait_are_left_out_with_what_is_under_way():
    times, _, pulses = edges_of("magnets")
    board = session.Session(
        rigfile.defaults() | RIG | {"pulses_per_rev": pulses}, lambda record: None, lambda *cue: None
    )
    for t in times:
        board.feed(array("i", [t % WRAP]), array("b", [0]), 1)
        if board._held > 2:
            break
    assert board._reading is not None
    board.leave_out()
    assert (board._reading, board._held, board.state[11]) == (None, 0, 0)
