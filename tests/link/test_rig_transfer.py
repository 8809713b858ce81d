"""A rig file on its way onto a board: at any MTU, over lost answers, and in words where the board refuses it."""

import pytest

from brakebeat.errors import DeviceError, InputError
from brakebeat.link import Ledger
from brakebeat.link.ble import BleTransport
from brakebeat.link.connection import BoardConnection
from brakebeat.link.control import CommandError
from brakebeat.link.rig_transfer import LARGEST_RIG, send_rig
from tests.link.fake_board import WIRE, FakeBoard, FakeTransport

TEXT = b"pulses_per_rev = 6\n" * 30


@pytest.fixture(autouse=True)
def _no_waiting(monkeypatch):
    monkeypatch.setattr("brakebeat.link.rig_transfer._REST_PAUSE_S", 0.0)


async def send(board, text=TEXT, lose_answers=0, **callbacks):
    async with BoardConnection(FakeTransport(board), Ledger()) as connection:
        connection.control._answer_s = 0.01
        board.lose_answers = lose_answers
        await send_rig(connection, text, **callbacks)


@pytest.mark.parametrize("mtu", [23, 40, 185, 517])
async def test_whole_at_any_mtu(mtu):
    board, sent = FakeBoard(mtu=mtu), []
    await send(board, progress=sent.append)
    assert board.rig == TEXT
    assert sent == sorted(sent)
    assert sent[-1] == len(TEXT)


async def test_lost_answers_do_no_harm():
    board = FakeBoard()
    await send(board, lose_answers=2)
    assert board.rig == TEXT


async def test_a_wheel_that_turns_is_waited_for():
    board, waits = FakeBoard(refuse={"rig_commit": [WIRE.ERROR_BUSY] * 3}), []
    await send(board, waiting=lambda: waits.append(1))
    assert board.rig == TEXT
    assert waits == [1]


async def test_a_wheel_that_never_stands_still():
    board = FakeBoard(refuse={"rig_commit": [WIRE.ERROR_BUSY] * 100})
    with pytest.raises(CommandError, match="refused while the wheel turns; let it come to rest"):
        await send(board)
    assert board.rig == b""


async def test_a_mistake_that_the_board_finds_is_told_in_its_words():
    board = FakeBoard(
        refuse={"rig_commit": [WIRE.ERROR_RIG]}, status={"trouble": b"new rig file: line 3: no such key"}
    )
    with pytest.raises(
        CommandError, match="finds a mistake in the rig file: new rig file: line 3: no such key"
    ):
        await send(board)


async def test_a_stranger_changes_nothing():
    board = FakeBoard(trusted=False, bondable=False)
    with pytest.raises(CommandError, match="needs a bond"):
        await send(board)
    assert (board.rig, "rig_part" in board.obeyed) == (b"", False)


async def test_a_file_that_is_too_long_is_not_begun():
    board = FakeBoard()
    with pytest.raises(InputError, match=f"a board takes {LARGEST_RIG}"):
        await send(board, b"#" * (LARGEST_RIG + 1))
    assert "rig_begin" not in board.obeyed


# -- pairing -------------------------------------------------------------------------------------------------


async def test_a_system_that_offers_no_pairing(monkeypatch):
    class Client:
        def __init__(self, *_arguments, **_options):
            pass

        async def pair(self):
            raise NotImplementedError

    class Device:
        name, address = "barn wheel", "AA"

    monkeypatch.setattr("brakebeat.link.ble.BleakClient", Client)
    with pytest.raises(DeviceError, match="barn wheel: this system offers no pairing to programs"):
        await BleTransport(Device()).bond()
