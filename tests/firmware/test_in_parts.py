"""A rep is worked out in parts, a poll each, so that cues and edges are looked at in between."""

from array import array

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
