"""The model's properties over any run of reps."""

from hypothesis import given
from hypothesis import strategies as st

from brakebeat.coach.document import session_document
from brakebeat.coach.session import CoachSession

from .events import BOARD_US, WALL_US, arrived, choice, connected, live

PULL = st.tuples(
    st.booleans(),  # a rest before it
    st.floats(1, 200),
    st.one_of(st.none(), st.floats(1, 2000)),
)


def fed(pulls, momentum_reps=2, **plan):
    """A session after these pulls, as a board would number and mark them."""
    session, placed, at_us, in_set = CoachSession(choice(**plan)), [], BOARD_US + 1_000_000, 0
    session.take(connected(), WALL_US / 1e6)
    for index, (rest, peak, power) in enumerate(pulls):
        at_us, in_set = (at_us + 30_000_000, 0) if rest and index else (at_us + 2_000_000, in_set)
        event = arrived(index, at_us, peak, power, momentum=in_set < momentum_reps)
        in_set += 1
        placed.append(session.take(event, (WALL_US + event.rep.end_us - BOARD_US) / 1e6))
    return session, placed


@given(st.lists(PULL, max_size=30))
def test_every_rep_is_in_one_set_in_order(pulls):
    session, placed = fed(pulls)
    rows = [row for one in session.sets for row in one.rows]
    assert [row.rep.index for row in rows] == list(range(len(pulls)))
    assert [one.number for one in session.sets] == list(range(1, len(session.sets) + 1))
    assert len(session.sets) == (1 + sum(rest for rest, *_ in pulls[1:]) if pulls else 0)
    assert [each.row for each in placed] == rows
    for one in session.sets:
        assert one.momentum == min(2, len(one.rows))
        counting = [row.number for row in one.rows if not row.rep.momentum]
        assert counting == list(range(1, one.counting + 1))


@given(st.lists(PULL, min_size=1, max_size=20))
def test_best_and_drop_come_from_the_reps_that_count(pulls):
    session, _ = fed(pulls)
    for one in session.sets:
        counting = [row for row in one.rows if not row.rep.momentum]
        assert one.best.peak_rad_s == max((row.rep.peak_rad_s for row in counting), default=None)
        assert all(row.drop.peak is None and not row.drop.stop for row in one.rows if row.rep.momentum)
        for place, row in enumerate(counting):
            before = [each.rep.peak_rad_s for each in counting[:place]]
            powers = [each.rep.concentric.mean_power_w for each in counting[:place]]
            power, known = row.rep.concentric.mean_power_w, [each for each in powers if each is not None]
            slow = bool(before) and 1 - row.rep.peak_rad_s / max(before) > 0.10
            weak = power is not None and bool(known) and 1 - power / max(known) > 0.25
            assert row.drop.stop == (slow or weak)
            assert row.drop.peak is None or 0 <= row.drop.peak < 1


@given(st.lists(PULL, max_size=20), st.floats(0, 1000), st.integers(1, 5), st.integers(1, 8))
def test_stage_and_rest_agree_with_the_counts(pulls, later_s, sets, reps):
    session, _ = fed(pulls, sets=sets, reps=reps, rest_s=60)
    end_s = WALL_US / 1e6 + (session.current.rows[-1].rep.end_us - BOARD_US) / 1e6 if pulls else 0.0
    stage = session.stage(end_s + later_s)
    assert (stage == "ready") == (not pulls)
    if pulls:
        over = session.current.counting >= reps or later_s > 10
        assert (stage == "set") == (not over) or abs(later_s - 10) < 1e-3
        assert abs(session.rested_s(end_s + later_s) - later_s) < 1e-3
    left_s = session.rest_left_s(end_s + later_s)
    assert (left_s is None) == (stage != "rest")
    assert left_s is None or abs(left_s - max(0.0, 60 - later_s)) < 1e-3


@given(st.integers(0, 40_000_000), st.booleans())
def test_what_was_pulled_before_the_session_is_nobodys(start_us, older_boot):
    session = CoachSession(choice())
    session.take(connected(boot=3), 0.0)
    event = arrived(start_us=start_us, boot=2 if older_boot else 3)
    assert session.take(event, 0.0).set_number is None
    assert (session.sets, session.earlier) == ([], 1)


def test_a_board_that_was_switched_off_begins_a_new_set():
    session = CoachSession(choice())
    session.take(connected(boot=0xFFFF), 0.0)
    session.take(arrived(0, boot=0xFFFF), 0.0)
    session.take(connected(boot=0, board_us=1_000), 0.0)
    assert session.take(arrived(0, start_us=5_000_000, boot=0), 0.0).set_number == 2


def test_a_rep_fetched_late_does_not_begin_the_rest_again():
    session = CoachSession(choice())
    session.take(connected(), WALL_US / 1e6)
    event = arrived()
    ended_s = (WALL_US + event.rep.end_us - BOARD_US) / 1e6
    session.take(event, ended_s + 40)
    assert abs(session.rested_s(ended_s + 45) - 45) < 1e-6


def test_the_boards_own_drop_off_counts_too():
    session = CoachSession(choice())
    session.take(connected(), 0.0)
    session.take(arrived(cues=("drop_off",)), 0.0)
    assert session.current.stop


def test_a_wheel_of_another_number_of_magnets_is_told():
    session = CoachSession(choice())
    session.take(connected(magnets=4), 0.0)
    assert "pulses_per_rev = 6" in session.warning


def test_document_is_what_the_model_says():
    session, _ = fed([(False, 50.0, 300.0)] * 2 + [(False, 80.0, 400.0), (False, 70.0, None)])
    session.take(live(speed=-33.0), 0.0)
    document = session_document(session, WALL_US / 1e6)
    assert document["set"]["counting"] == 2
    assert document["set"]["momentum"] == 2
    assert document["set"]["stop"]
    assert document["live"]["speed_rad_s"] == 33.0
    assert [rep["power_w"] for rep in document["set"]["reps"]] == [300.0, 300.0, 400.0, None]
