"""What a session leaves in the store."""

from brakebeat.coach.keeper import NOBODY, Keeper
from brakebeat.coach.session import CoachSession
from brakebeat.store import open_store
from brakebeat.store.queries import sessions, sets

from .events import arrived, choice, connected


def keep(store, events):
    session = CoachSession(choice())
    keeper = Keeper(store, session.choice)
    for event in events:
        keeper.keep(event, session.take(event, 0.0))


def test_sets_reps_and_cues_are_kept(tmp_path):
    far_us = 200_000_000
    with open_store(tmp_path / "log") as store:
        keep(store, [connected(), arrived(0), arrived(1, 63_500_000, cues=("late",)), arrived(2, far_us)])
        kept = list(sets(store))
        assert [[rep.rep.index for rep in one.reps] for one in kept] == [[0, 1], [2]]
        assert [cue.kind for cue in kept[0].cues] == ["late"]
        assert {(one.athlete, one.exercise, one.engine) for one in kept} == {("Mara Quill", "squat", "board")}


def test_earlier_reps_are_kept_but_credited_to_nobody(tmp_path):
    with open_store(tmp_path / "log") as store:
        keep(store, [connected(), arrived(0, 1_000_000), arrived(1)])
        assert sorted(one.athlete for one in sessions(store)) == sorted(["Mara Quill", NOBODY])


def test_a_session_without_a_rep_leaves_nothing(tmp_path):
    with open_store(tmp_path / "log") as store:
        keep(store, [connected()])
        assert sessions(store) == []
