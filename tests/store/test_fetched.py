"""Fetched reps come into the store: sets and sessions by their pauses, each rep once, whoever brought it first."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brakebeat.cli import main
from brakebeat.coach.keeper import Keeper
from brakebeat.coach.session import CoachSession
from brakebeat.errors import InputError
from brakebeat.formats.rig import write_rig
from brakebeat.store import open_store
from brakebeat.store.changes import changes, undo
from brakebeat.store.queries import sessions, sets
from brakebeat.watch.rep_book import Fetched, RepBook
from tests.coach.events import BOARD_US, arrived, choice, connected

HOUR_US = 3_600_000_000
STARTS_US = (0, 2_000_000, 4_000_000, 100_000_000, 102_000_000, 5 * HOUR_US)


def events():
    found = [connected()]
    for number, start_us in enumerate(STARTS_US):
        found.append(arrived(number, BOARD_US + start_us, momentum=number in (0, 3), cues=("late",)))
    return found


@pytest.fixture
def files(tmp_path):
    """(book of fetched reps, rig file)"""
    fetched = Fetched()
    for event in events():
        fetched.take(event)
    RepBook(tmp_path / "reps.jsonl").add(fetched.documents())
    write_rig(tmp_path / "rig.toml", choice().rig)
    return tmp_path / "reps.jsonl", tmp_path / "rig.toml"


def taken(files, store, capsys, code=0):
    book, rig = files
    call = ["import", str(book), "--athlete", "Mara", "--exercise", "squat", "--rig", str(rig)]
    assert main([*call, "--store", str(store), "--json"]) == code
    streams = capsys.readouterr()
    return json.loads(streams.out)["files"][0] if code == 0 else streams.err


def test_sets_and_sessions_by_their_pauses_and_each_rep_once(files, tmp_path, capsys):
    first = taken(files, tmp_path / "s", capsys)
    assert (first["sessions"], first["sets"], first["reps"]) == (2, 3, 6)
    again = taken(files, tmp_path / "s", capsys)
    assert (again["reps"], again["known"]) == (0, 6)
    with open_store(tmp_path / "s") as store:
        assert [[rep.rep.index for rep in one.reps] for one in sets(store)] == [[0, 1, 2], [3, 4], [5]]
        assert all(one.cues for one in sets(store))
        late, early = sessions(store)
        assert 4.9 * 3600 < (late.started - early.started).total_seconds() < 5.1 * 3600
        undo(store, changes(store)[0].id)
        assert list(sets(store)) == []


def test_what_a_session_has_brought_is_not_brought_again(files, tmp_path, capsys):
    with open_store(tmp_path / "s") as store:
        session = CoachSession(choice())
        keeper = Keeper(store, session.choice)
        for event in events()[:3]:
            keeper.keep(event, session.take(event, 0.0))
    assert taken(files, tmp_path / "s", capsys)["known"] == 2


def test_a_later_fetch_adds_the_rest(files, tmp_path, capsys):
    book, _ = files
    lines = book.read_text().splitlines()
    book.write_text("\n".join(lines[:4]) + "\n")
    assert taken(files, tmp_path / "s", capsys)["reps"] == 4
    book.write_text("\n".join(lines) + "\n")
    assert taken(files, tmp_path / "s", capsys)["reps"] == 2


def test_reps_of_an_unknown_time_begin_where_they_are_told_to(files, tmp_path, capsys):
    book, _ = files
    documents = [json.loads(line) | {"started": None} for line in book.read_text().splitlines()]
    book.write_text("\n".join(map(json.dumps, documents)))
    taken(files, tmp_path / "s", capsys)
    with open_store(tmp_path / "s") as store:
        assert len(list(sets(store))) == 3


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda d: d.pop("cues"), "cues"),
        (lambda d: d["rep"].update(peak_rad_s="fast"), "rep.peak_rad_s"),
        (lambda d: d["rep"].update(flags=["moo"]), "flags"),
        (lambda d: d["rep"].update(end_us=-5), "order"),
        (lambda d: d.update(started="soon"), "started"),
        (lambda d: d.update(started="2026-01-01T10:00:00"), "offset"),
    ],
)
def test_a_damaged_line_is_named_and_nothing_is_taken(spoil, words, files, tmp_path, capsys):
    book, _ = files
    documents = [json.loads(line) for line in book.read_text().splitlines()]
    spoil(documents[2])
    book.write_text("\n".join(map(json.dumps, documents)))
    error = taken(files, tmp_path / "s", capsys, code=2)
    assert words in error
    assert "reps.jsonl:3" in error
    with open_store(tmp_path / "s") as store:
        assert list(sets(store)) == []


def test_the_rig_has_to_be_named(files, tmp_path, capsys):
    call = ["import", str(files[0]), "--athlete", "Mara", "--exercise", "squat"]
    assert main([*call, "--store", str(tmp_path / "s")]) == 2
    assert "--rig" in capsys.readouterr().err


@settings(max_examples=40, deadline=None)
@given(text=st.text(st.characters(codec="utf-8"), max_size=60))
def test_any_text_is_refused(text, tmp_path_factory):
    from datetime import UTC, datetime

    from brakebeat.store.fetched import import_fetched

    path = tmp_path_factory.mktemp("any") / "x.jsonl"
    path.write_text(text, encoding="utf-8")
    with open_store(path.with_name("s")) as store, pytest.raises(InputError, match=r"x\.jsonl"):
        import_fetched(
            store,
            path,
            athlete="M",
            exercise="s",
            rig=choice().rig,
            unknown_at=datetime(2026, 1, 1, tzinfo=UTC),
        )
