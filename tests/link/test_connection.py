"""Delivery as the host sees it: each record once and in order, whatever is lost on the way; refusals in words."""

import asyncio
import contextlib
import random
import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brakebeat.errors import DeviceError
from brakebeat.link import (
    CaughtUp,
    Connected,
    EdgesArrived,
    Ledger,
    RecordsGone,
    RepArrived,
    StatusArrived,
    TimeTold,
)
from brakebeat.link.connection import BoardConnection
from brakebeat.link.control import CommandError
from brakebeat.link.transport import Channel, WrongBoardError
from tests.link.fake_board import WIRE, FakeBoard, FakeTransport, packed_rep, record


async def events_of(board, ledger=None, *, until, transport=None, **options):
    """Events of one connection until ``until(events)`` or its end."""
    events = []
    async with (
        BoardConnection(transport or FakeTransport(board), ledger or Ledger(), **options) as connection,
        contextlib.aclosing(connection.events()) as stream,
    ):
        async for event in stream:
            events.append(event)
            if until(events):
                break
    return events


def caught_up(events):
    return isinstance(events[-1], CaughtUp)


def numbers(events):
    return [event.sequence for event in events if isinstance(event, RepArrived)]


def board_with(reps, **settings):
    board = FakeBoard(**settings)
    board.add_reps(reps)
    return board


async def test_connected_comes_first_and_tells_the_time():
    board = board_with(0, boot=7, status={"supply_mv": 3712, "state": WIRE.STATE_MOVING | WIRE.STATE_TRUSTED})
    events = await events_of(board, until=caught_up)
    (connected, _) = events
    assert (connected.name, connected.boot, connected.board_us) == ("barn wheel", 7, 5_000_000)
    assert connected.wall_us > 1_700_000_000_000_000
    status = connected.status
    assert (status.supply_mv, status.free_flash, status.moving, status.trusted) == (3712, None, True, True)
    assert (status.bondable, status.pairing, status.raw) == (False, False, False)


async def test_what_nobody_has_acknowledged_is_where_a_new_host_begins():
    board = board_with(9, status={"reps_waiting": 4})
    assert numbers(await events_of(board, until=caught_up)) == [5, 6, 7, 8]
    assert board.acknowledged == [5, 6, 7, 8]


async def test_all_from_the_number_that_is_asked_for():
    board = board_with(6)
    assert numbers(await events_of(board, Ledger(2), until=caught_up)) == [2, 3, 4, 5]
    assert numbers(await events_of(board, Ledger(0), until=caught_up)) == [0, 1, 2, 3, 4, 5]


async def test_a_number_beyond_the_journal_is_told_in_words():
    board = board_with(3, refuse={"from": [WIRE.ERROR_VALUE]})
    with pytest.raises(DeviceError, match="does not reach to record 50; the next one will be 3"):
        await events_of(board, Ledger(50), until=caught_up)


async def test_what_was_overwritten_is_told():
    board = board_with(9)
    for number in range(5):
        del board.records[number]
    events = await events_of(board, Ledger(2), until=caught_up)
    assert [event for event in events if isinstance(event, RecordsGone)] == [RecordsGone(2, 4)]
    assert numbers(events) == [5, 6, 7, 8]


async def test_a_journal_with_holes_is_asked_twice_and_believed():
    board = board_with(9)
    for number in (0, 3, 4, 8):
        del board.records[number]
    board.records[9] = record(9, packed_rep(9))
    assert numbers(await events_of(board, Ledger(0), until=caught_up)) == [1, 2, 5, 6, 7, 9]


async def test_records_that_come_again_are_handed_on_once():
    board = board_with(3)
    ledger = Ledger(0)

    def until(events):
        if caught_up(events) and len(events) == 5:
            # As a board does that heard no acknowledgement.
            for message in board.records.values():
                board.send_record(message)
            board.add_reps(1)
            board.send_record(board.records[3])
        return 3 in numbers(events)

    assert numbers(await events_of(board, ledger, until=until)) == [0, 1, 2, 3]


async def test_a_new_journal_of_the_same_board_is_taken_from_its_beginning():
    ledger = Ledger(0)
    assert numbers(await events_of(board_with(5), ledger, until=caught_up)) == [0, 1, 2, 3, 4]
    again = board_with(3, journal_id=77)
    assert numbers(await events_of(again, ledger, until=caught_up)) == [0, 1, 2]


async def test_where_a_journal_is_known_what_it_lacks_is_fetched():
    board = board_with(6)
    ledger = Ledger(0, {board.journal_id: 4, 5: 1})
    assert numbers(await events_of(board, ledger, until=caught_up)) == [4, 5]


async def test_times_and_unknown_kinds_between_the_reps():
    board = board_with(2)
    board.records[2] = record(2, struct.pack(WIRE.TIME_FORMAT, 10, 20), WIRE.RECORD_TIME, boot=3)
    board.records[3] = record(3, b"from a newer board", kind=200)
    board.records[4] = record(4, packed_rep(4) + b"more of it")
    events = await events_of(board, Ledger(0), until=caught_up)
    assert numbers(events) == [0, 1, 4]
    assert TimeTold(board.journal_id, 3, 10, 20) in events
    assert board.acknowledged == [0, 1, 2, 3, 4]
    assert [event.record for event in events if isinstance(event, RepArrived)][2][:104] == packed_rep(4)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(1, 30),
    st.lists(st.integers(1, 60), max_size=6, unique=True),
    st.lists(st.integers(1, 60), max_size=6, unique=True),
    st.sampled_from([23, 40, 185]),
)
async def test_each_record_once_and_in_order_whatever_is_lost(reps, lost_parts, breaks, mtu):
    board = board_with(reps, mtu=mtu, lose_parts=sorted(lost_parts), break_after=sorted(breaks))
    ledger, seen = Ledger(0), []
    for _ in range(len(breaks) + 1):
        with contextlib.suppress(DeviceError):
            events = await events_of(board, ledger, until=caught_up)
            seen += numbers(events)
            if events and caught_up(events):
                break
    assert seen == list(range(reps))


async def test_lost_answers_are_asked_for_again():
    board = board_with(1, lose_answers=2)
    transport = FakeTransport(board)
    connection = BoardConnection(transport, Ledger(0))
    connection.control._answer_s = 0.01
    async with connection:
        pass
    assert board.obeyed[:4] == ["time", "time", "time", "hello"]


async def test_a_board_that_never_answers():
    board = board_with(1, lose_answers=1000)
    connection = BoardConnection(FakeTransport(board), Ledger(0))
    connection.control._answer_s = 0.01
    with pytest.raises(DeviceError, match="barn wheel does not answer; restart the board"):
        async with connection:
            pass


@pytest.mark.parametrize(
    ("version", "words"), [(1, "install this version's firmware"), (3, "update brakebeat")]
)
async def test_another_protocol_version(version, words):
    with pytest.raises(WrongBoardError, match=f"speaks protocol version {version}, this computer 2; {words}"):
        await events_of(board_with(1, version=version), until=caught_up)


# -- raw edges -----------------------------------------------------------------------------------------------


def edge_blocks(count, size=20):
    times = 2_000 + 1_700 * np.arange(count * size, dtype=np.int64)
    steps = np.resize(np.array([1, -1, 0], np.int8), count * size)
    return times, steps, tuple(zip(np.split(times, count), np.split(steps, count), strict=True))


async def test_raw_edges_arrive_as_they_were():
    times, steps, blocks = edge_blocks(10)
    board = board_with(0, edges=blocks)
    events = await events_of(board, until=lambda events: len(got(events)) == 10, raw=True)
    assert np.concatenate([event.t_us for event in got(events)]).tolist() == times.tolist()
    assert np.concatenate([event.step for event in got(events)]).tolist() == steps.tolist()
    assert [event.missing for event in got(events)] == [0] * 10
    assert {event.boot for event in got(events)} == {1}


async def test_edges_after_an_earlier_connection_have_a_hole_before_them():
    _, _, blocks = edge_blocks(3)
    board = board_with(0, edges=blocks)
    events = await events_of(board, until=lambda events: len(got(events)) == 3, raw=True, raw_before=True)
    assert [event.missing for event in got(events)] == [None, 0, 0]


def got(events):
    return [event for event in events if isinstance(event, EdgesArrived)]


async def test_raw_edges_make_a_bond_where_there_is_none():
    board = board_with(0, trusted=False, edges=edge_blocks(1)[2])
    transport = FakeTransport(board)
    await events_of(board, until=got, transport=transport, raw=True)
    assert transport.bonds == 1


async def test_a_board_that_takes_no_bond_says_what_to_do():
    board = board_with(0, trusted=False, bondable=False)
    with pytest.raises(
        CommandError, match=r"Hold the button on the board .* within 60 s .*does not pair now"
    ):
        await events_of(board, until=got, raw=True)


@pytest.mark.parametrize("error", range(1, 9))
async def test_every_refusal_has_words(error):
    board = board_with(0, refuse={"time": [error]})
    with pytest.raises(CommandError) as refused:
        await events_of(board, until=caught_up)
    assert refused.value.error == error
    assert "does not know" not in str(refused.value) or error == WIRE.ERROR_UNKNOWN


async def test_connected_is_the_first_event():
    assert isinstance((await events_of(board_with(3), Ledger(0), until=caught_up))[0], Connected)


# -- garbage -------------------------------------------------------------------------------------------------


async def test_a_hundred_thousand_mangled_notifications_change_nothing():
    """On every channel: nothing crashes, and what is handed on was really sent."""
    rng = random.Random(7)
    board = board_with(40, edges=edge_blocks(3)[2])
    transport = FakeTransport(board)
    ledger, handed = Ledger(0), []
    async with BoardConnection(transport, ledger, raw=True) as connection:
        for record_message in board.records.values():
            board.send_record(record_message)
        sound = list(transport.sent)
        await asyncio.sleep(0)
        for _ in range(100_000):
            connection._hear(*mangled(rng, sound))
        for sequence in range(40, 44):
            board.add_reps(1)
            assert sequence in board.records
        await connection._from(0)
        async with contextlib.aclosing(connection.events()) as stream:
            async for event in stream:
                handed.append(event)
                if isinstance(event, RepArrived) and event.sequence == 43:
                    break
    reps = [event for event in handed if isinstance(event, RepArrived)]
    assert sorted(event.sequence for event in reps) == list(range(44))
    assert all(event.record == packed_rep(event.sequence) for event in reps)


def mangled(rng, sound):
    """Random bytes, or a sound message with something changed."""
    channel, message = rng.choice(sound)
    if rng.random() < 0.3:
        return rng.choice(list(Channel)), rng.randbytes(rng.randrange(60))
    message = bytearray(message)
    for _ in range(rng.randrange(1, 4)):
        kind = rng.random()
        if not message or kind < 0.2:
            message.append(rng.randrange(256))
        elif kind < 0.4:
            del message[rng.randrange(len(message)) :]
        else:
            message[rng.randrange(len(message))] ^= rng.randrange(1, 256)
    return channel, bytes(message)


async def test_a_board_that_begins_another_journal_is_asked_anew_over_a_new_link():
    """Its flash is full: what it keeps in memory has numbers of its own."""
    board, ledger = board_with(3), Ledger(0)

    def until(events):
        if caught_up(events):
            board.journal_id, board.records = 78, {}
            board.add_reps(2)
            board.send(Channel.STATUS, b"\2")
        return False

    first = await events_of(board, ledger, until=until)
    assert isinstance(first[-1], StatusArrived)
    assert numbers(first) == [0, 1, 2]
    second = await events_of(board, ledger, until=caught_up)
    assert [(event.journal_id, event.sequence) for event in second if isinstance(event, RepArrived)] == [
        (78, 0),
        (78, 1),
    ]
