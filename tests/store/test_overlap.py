"""A recording of what is in the store already, from a coach or fetched, is known again."""

import dataclasses
from datetime import UTC, datetime

import numpy as np
import pytest

from brakebeat.cli import main
from brakebeat.formats.recording import Recording, write_recording
from brakebeat.store import open_store
from brakebeat.store.changes import delete, undo
from brakebeat.store.computing import import_recording
from brakebeat.store.fetched import import_fetched
from brakebeat.store.queries import sets
from brakebeat.store.recomputing import recompute
from brakebeat.store.sessions import load_recording
from brakebeat.watch.rep_book import Fetched, RepBook
from tests.coach.events import WALL_US, connected
from tests.coach.played import a_session_of_two_sets

STARTED = datetime(2027, 1, 15, 8, tzinfo=UTC)


@pytest.fixture(scope="module")
def played():
    return a_session_of_two_sets()


def _take(store, recording):
    return import_recording(store, recording, athlete="Mara Quill", exercise="squat", started=STARTED)


def _contents(store):
    return [(each.id, each.reps, each.has_edges) for each in sets(store)]


def test_a_recording_of_what_a_coach_kept_is_nothing_new(played, tmp_path):
    with open_store(tmp_path / "log") as store:
        played.into(store)
        before = _contents(store)
        assert [len(load_recording(store, each[0]).t_us) for each in before] != [
            len(played.recording.t_us)
        ] * 2
        done = _take(store, played.recording)
        assert (done.new, done.sets, done.known, done.edges_added) == (False, 2, 2, 0)
        assert done.reps == len(played.analysis.reps)
        assert _contents(store) == before


def test_a_recording_that_began_earlier_adds_what_was_before(played, tmp_path):
    first, second = played.analysis.sets
    with open_store(tmp_path / "log") as store:
        played.into(store, from_us=played.analysis.reps[second[0]].start_us - 500_000)
        (kept,) = sets(store)
        done = _take(store, played.recording)
        assert (done.new, done.sets, done.known) == (True, 1, 1)
        new, old = sorted(sets(store), key=lambda each: each.reps[0].rep.start_us)
        assert old.reps == kept.reps
        assert len(new.reps) == first[1] - first[0] + 1
        assert store.faults() == []


def test_edges_with_gaps_are_the_same_edges(played, tmp_path):
    rng = np.random.default_rng(3)
    stays = rng.random(len(played.recording.t_us)) < 0.8
    lossy = dataclasses.replace(
        played.recording, t_us=played.recording.t_us[stays], step=played.recording.step[stays]
    )
    with open_store(tmp_path / "log") as store:
        dataclasses.replace(played, recording=lossy).into(store)
        assert not _take(store, played.recording).new


def test_another_session_on_the_same_clock_is_new(played, tmp_path):
    # A board that is switched on again counts from 0: the same seconds, other microseconds.
    moved = dataclasses.replace(played.recording, t_us=played.recording.t_us + 7)
    with open_store(tmp_path / "log") as store:
        played.into(store)
        done = _take(store, moved)
        assert (done.new, done.sets, done.known) == (True, 2, 0)


def test_deleted_sets_do_not_count(played, tmp_path):
    with open_store(tmp_path / "log") as store:
        played.into(store)
        first = next(sets(store))
        delete(store, "away", [("work_set", first.id)])
        done = _take(store, played.recording)
        assert (done.sets, done.known) == (1, 1)


def _with_clock(played, seconds=0):
    wall = datetime.fromtimestamp(WALL_US // 1_000_000 + seconds, UTC).isoformat(timespec="seconds")
    header = {**played.recording.header, "clock": f"0 us was {wall}"}
    return Recording(played.recording.t_us, played.recording.step, header)


def test_edges_of_sets_that_had_none_are_put_beside_them(played, tmp_path):
    with open_store(tmp_path / "log") as store:
        played.into(store, edges=False)
        assert not any(each.has_edges for each in sets(store))
        done = _take(store, _with_clock(played))
        assert (done.new, done.known, done.edges_added) == (False, 2, 2)
        assert all(each.has_edges for each in sets(store))
        assert len(recompute(store)[1]) == 2
        for _ in range(2):
            undo(store)
        assert not any(each.has_edges for each in sets(store))


@pytest.mark.parametrize("seconds", [-3600, 3600])
def test_the_same_seconds_of_another_day_are_new(played, tmp_path, seconds):
    with open_store(tmp_path / "log") as store:
        played.into(store, edges=False)
        assert _take(store, _with_clock(played, seconds)).new


@pytest.mark.parametrize(("seconds", "known"), [(0, 10), (-3600, 0)])
def test_reps_that_a_recording_shows_are_not_fetched_again(played, tmp_path, seconds, known):
    fetched = Fetched()
    for event in [connected(board_us=0), *map(played.arrival, played.analysis.reps)]:
        fetched.take(event)
    book = tmp_path / "reps.jsonl"
    RepBook(book).add(fetched.documents())
    with open_store(tmp_path / "log") as store:
        _take(store, _with_clock(played, seconds))
        before = _contents(store)
        for already in (known, 10):
            done = import_fetched(
                store,
                book,
                athlete="Mara Quill",
                exercise="squat",
                rig=played.recording.rig,
                unknown_at=STARTED,
            )
            assert (done.known, done.reps) == (already, 10 - already)
        assert (_contents(store) == before) == (known == 10)
        assert store.faults() == []


def test_as_it_is_typed(played, tmp_path, capsys):
    file, log = tmp_path / "set.csv", str(tmp_path / "log")
    write_recording(file, played.recording.t_us, played.recording.step, played.recording.header)
    with open_store(log) as store:
        played.into(store)
    words = ["import", str(file), "--athlete", "Mara Quill", "--exercise", "squat", "--store", log]
    assert main(words) == 0
    assert "was here already, in session 1" in capsys.readouterr().out
