"""Fetched reps in a file: each once, nothing of the file harmed, times tied to the calendar where that is possible."""

import contextlib
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.errors import InputError
from brakebeat.link import Connected, Ledger, RecordsGone, TimeTold
from brakebeat.watch.rep_book import Fetched, RepBook
from tests.link.fake_board import FakeBoard
from tests.link.test_connection import board_with, caught_up, events_of
from tests.watch.test_board_view import arrived

# 2026-03-01 12:00:00 UTC by `date -u -d @1772366400`.
NOON_US = 1_772_366_400_000_000


def documents(*numbers, journal_id=1):
    return [{"journal_id": journal_id, "sequence": number, "rep": {"index": number}} for number in numbers]


def test_each_rep_is_in_it_once(tmp_path):
    path = tmp_path / "reps.jsonl"
    assert RepBook(path).add(documents(0, 1)) == 2
    book = RepBook(path)
    assert book.next_numbers() == {1: 2}
    assert book.add(documents(1, 2)) == 1
    assert book.add(documents(0, 1, 2)) == 0
    assert book.add(documents(0, journal_id=9)) == 1
    kept = [json.loads(line) for line in path.read_text().splitlines()]
    assert [(one["journal_id"], one["sequence"]) for one in kept] == [(1, 0), (1, 1), (1, 2), (9, 0)]
    assert RepBook(path).next_numbers() == {1: 3, 9: 1}


def test_nothing_new_leaves_the_file_alone(tmp_path):
    path = tmp_path / "reps.jsonl"
    assert RepBook(path).add([]) == 0
    assert not path.exists()


@pytest.mark.parametrize(
    "line", ["", "not JSON", "[1]", '{"sequence": 1}', '{"journal_id": "a", "sequence": 1}', "[" * 9999]
)
def test_another_file_is_refused_with_its_line(tmp_path, line):
    path = tmp_path / "notes.txt"
    text = json.dumps(documents(0)[0]) + "\n" + line + "\n" + json.dumps(documents(1)[0]) + "\n"
    path.write_text(text)
    with pytest.raises(InputError, match=r"notes\.txt:2: no fetched rep"):
        RepBook(path)
    assert path.read_text() == text


@given(st.binary(max_size=100))
def test_garbage_never_crashes(tmp_path_factory, garbage):
    path = tmp_path_factory.mktemp("book") / "reps.jsonl"
    path.write_bytes(garbage)
    if garbage.strip():
        with pytest.raises(InputError, match=r"reps\.jsonl"):
            RepBook(path)
    else:
        with contextlib.suppress(InputError):
            assert len(RepBook(path)) == 0


async def connected(**settings):
    events = await events_of(board_with(0, **settings), until=caught_up)
    return next(event for event in events if isinstance(event, Connected))


async def test_times_of_this_power_up_and_of_earlier_ones():
    event = await connected(boot=2)
    fetched = Fetched()
    for one in [
        arrived(0, start_s=30),
        TimeTold(1, 1, 10_000_000, NOON_US),
        arrived(1, start_s=40),
        RecordsGone(2, 3),
    ]:
        fetched.take(one)
    assert [str(fetched.started(rep)) for rep in fetched.reps] == [
        "2026-03-01 12:00:20+00:00",
        "2026-03-01 12:00:30+00:00",
    ]
    assert (fetched.gone, event.boot) == ([RecordsGone(2, 3)], 2)
    first = fetched.documents()[0]
    assert first["started"] == "2026-03-01T12:00:20.000+00:00"
    assert (first["sequence"], first["boot"], first["rep"]["index"]) == (0, 1, 0)


def test_a_time_that_nobody_told_stays_unknown():
    fetched = Fetched()
    fetched.take(arrived(0))
    assert fetched.started(fetched.reps[0]) is None
    assert fetched.documents()[0]["started"] is None


def test_an_absurd_time_is_unknown_too():
    fetched = Fetched()
    fetched.take(TimeTold(1, 1, 0, 2**63))
    fetched.take(arrived(0))
    assert fetched.started(fetched.reps[0]) is None


async def test_from_a_board_into_the_book_and_again(tmp_path):
    board = FakeBoard()
    board.add_reps(5)
    path = tmp_path / "reps.jsonl"
    for reps, new in [(5, 5), (5, 0), (8, 3)]:
        board.add_reps(reps - len(board.records))
        book, fetched = RepBook(path), Fetched()
        for event in await events_of(board, Ledger(0, book.next_numbers()), until=caught_up):
            fetched.take(event)
        assert book.add(fetched.documents()) == new
    assert len(RepBook(path)) == 8
