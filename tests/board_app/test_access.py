"""Who is let in: the window after power-up and button, bonds that are kept at rest, ports that cannot pair."""

from pathlib import Path

import pytest

from tests.board_app.fake_ble import Board
from tests.board_app.firmware import access, wire

SECRET = (2, memoryview(b"peer"), memoryview(b"long term key"))


class Button:
    level = 1

    def value(self):
        return self.level


@pytest.fixture
def files(tmp_path):
    return str(tmp_path) + "/"


def stored(files):
    return Path(files + "bonds").exists()


def test_new_bonds_for_a_minute_after_power_up_or_button(files):
    button = Button()
    board = Board(files=files, button=button)
    assert board.ble.settings["bond"]
    board.run(59_990)
    assert board.access.open
    board.run(20)
    assert not board.access.open
    assert board.ble.settings["bond"] is False
    assert not board.ble.handler(30, SECRET)
    button.level = 0
    board.run(1)
    assert board.access.open
    assert board.ble.settings["bond"] is True
    button.level = 1
    board.run(59_990)
    assert board.ble.handler(30, SECRET)
    board.run(20)
    assert not board.access.open


def test_bonds_that_cannot_be_written_hold_until_the_power_goes(files):
    """A folder stands where the file should."""
    Path(files + "bonds").mkdir()
    board = Board(files=files)
    assert board.ble.handler(30, SECRET)
    board.at_rest = True
    board.run(100)
    assert board.access.trouble.startswith("bonds: ")
    assert board.access.trouble.endswith("; they end with the power")
    assert board.ble.handler(29, (2, 0, memoryview(b"peer"))) == b"long term key"
    # No half-written file is left behind, and it is not tried again and again.
    assert [path.name for path in Path(files).iterdir()] == ["bonds"]
    board.access.trouble = ""
    board.run(1_000)
    assert board.access.trouble == ""
    assert Board(files=files).ble.handler(29, (2, 0, memoryview(b"peer"))) is None


def test_secrets_are_written_at_rest_only_and_found_after_a_power_cut(files):
    board = Board(files=files)
    board.at_rest = False
    assert board.ble.handler(30, SECRET)
    assert board.ble.handler(30, (1, memoryview(b"peer"), memoryview(b"other")))
    board.run(100)
    assert not stored(files)
    board.at_rest = True
    board.run(1)
    assert stored(files)
    again = Board(files=files)
    assert bytes(again.ble.handler(29, (2, 0, memoryview(b"peer")))) == b"long term key"
    assert bytes(again.ble.handler(29, (1, 0, None))) == b"other"
    assert again.ble.handler(29, (1, 1, None)) is None
    assert again.ble.handler(29, (2, 0, memoryview(b"nobody"))) is None


@pytest.mark.parametrize("keep", [0, 1, 5, 20, -1])
def test_a_damaged_file_is_no_bond(files, keep):
    board = Board(files=files)
    board.ble.handler(30, SECRET)
    board.run(1)
    data = Path(files + "bonds").read_bytes()
    Path(files + "bonds").write_bytes(data[:keep])
    assert Board(files=files).ble.handler(29, (2, 0, memoryview(b"peer"))) is None


def test_a_closed_board_keeps_its_bonds_and_trusts_no_new_one(files):
    board = Board(files=files)
    board.ble.handler(30, SECRET)
    board.run(61_000)
    # Neither exchanged nor deleted, whoever claims to be the peer.
    assert not board.ble.handler(30, (2, memoryview(b"peer"), memoryview(b"another key")))
    assert not board.ble.handler(30, (2, memoryview(b"peer"), None))
    assert bytes(board.ble.handler(29, (2, 0, memoryview(b"peer")))) == b"long term key"
    board.connect()
    assert not board.ble.handler(30, (2, memoryview(b"stranger"), memoryview(b"key")))
    # Even where the stack says that they are bonded now.
    board.encrypt()
    assert not board.access.trusted
    assert board.error_of(wire.COMMAND_RAW_START) == wire.ERROR_REFUSED
    board.disconnect()
    board.connect()
    board.encrypt()
    assert board.access.trusted


def test_what_a_stack_stores_for_itself_while_it_starts_is_kept(files):
    """Before it has been asked whether it pairs at all."""
    early = access.Access(files + "bonds", None, 0)
    assert early.on_event(30, SECRET)
    assert early.on_event(29, (2, 0, memoryview(b"peer"))) == b"long term key"


def test_the_stack_may_store_again_what_is_there(files):
    board = Board(files=files)
    board.ble.handler(30, SECRET)
    board.run(61_000)
    board.connect()
    assert board.ble.handler(30, SECRET)
    board.encrypt()
    assert board.access.trusted


def test_the_oldest_secrets_make_room(files):
    board = Board(files=files)
    for number in range(40):
        assert board.ble.handler(30, (2, memoryview(b"peer %d" % number), memoryview(b"key")))
    kept = [number for number in range(40) if board.ble.handler(29, (2, 0, memoryview(b"peer %d" % number)))]
    assert kept == list(range(16, 40))


def test_in_the_open_minute_a_bond_may_be_deleted(files):
    board = Board(files=files)
    board.ble.handler(30, SECRET)
    assert board.ble.handler(30, (2, memoryview(b"peer"), None))
    assert not board.ble.handler(30, (2, memoryview(b"peer"), None))
    assert board.ble.handler(29, (2, 0, memoryview(b"peer"))) is None


def test_without_pairing_the_button_alone_opens(files):
    button = Button()
    board = Board(room=10_000, files=files, button=button, pairing=False)
    board.connect()
    # What such a port's stack says of encryption counts for nothing.
    board.encrypt()
    assert board.error_of(wire.COMMAND_RAW_START) == wire.ERROR_REFUSED
    button.level = 0
    board.run(1)
    button.level = 1
    assert board.error_of(wire.COMMAND_RAW_START) == 0
    board.run(60_100)
    assert board.error_of(wire.COMMAND_RAW_START) == wire.ERROR_REFUSED


def test_a_setting_closes_reading(files):
    board = Board(files=files, **{"board.open_reading": False})
    board.put(0)
    board.connect()
    board.run(5000)
    assert board.ble.sent == []
    assert set(board.ble.values.values()) >= {b""}
    board.encrypt()
    board.run(1100)
    assert board.heard() == [0]
    assert board.lives_heard()
    board.disconnect()
    board.connect()
    before = len(board.ble.sent)
    board.run(5000)
    assert len(board.ble.sent) == before


def test_replacing_a_file_leaves_the_old_or_the_new(files):
    access.replace_file(files + "x", b"one")
    access.replace_file(files + "x", b"two")
    assert Path(files + "x").read_bytes() == b"two"
    assert [path.name for path in Path(files).iterdir()] == ["x"]
