"""Commands: obeyed where they may be, refused where not, and never anything in between."""

import binascii
import random
import struct

import pytest

from tests.board_app.fake_ble import Board
from tests.board_app.firmware import command, framing, wire

RIG = b"pulses_per_rev = 12\n[cues]\nlate_cue = false\n"


def begin(data=RIG):
    return struct.pack("<HI", len(data), binascii.crc32(data))


def part(offset, data):
    return struct.pack("<H", offset) + data


def erase(board):
    return struct.pack("<I", board.journal.id)


def state(board):
    """All that a command could change for anyone but its own host."""
    kept = board.journal
    return (
        kept.id,
        kept.next,
        kept.oldest,
        kept.boot,
        [bytes(kept.get(sequence) or b"") for sequence in range(kept.oldest, kept.next)],
        kept._wiping,
        len(kept._pending),
        board.rigs_taken,
        dict(board.rig),
        board.tap.on,
        list(board.access._secrets),
    )


@pytest.fixture
def board():
    made = Board()
    for index in range(6):
        made.put(index)
    made.connect()
    made.run(50)
    return made


def changes(board):
    """Every command that changes something, as a trusted host would send it."""
    return [
        (wire.COMMAND_RAW_START, b""),
        (wire.COMMAND_RIG_BEGIN, begin()),
        (wire.COMMAND_RIG_PART, part(0, RIG)),
        (wire.COMMAND_RIG_COMMIT, b""),
        (wire.COMMAND_ERASE, erase(board)),
    ]


def test_a_stranger_changes_nothing(board):
    before = state(board)
    for bonded in (None, False):
        if bonded is not None:
            # Encrypted, but without a bond.
            board.encrypt(bonded=bonded)
        for code, payload in changes(board):
            assert board.error_of(code, payload) == wire.ERROR_REFUSED
    assert board.error_of(wire.COMMAND_TIME, struct.pack("<Q", 10**15)) == 0
    board.keep()
    assert state(board) == before
    assert board.radio.control.refused == 10


def test_a_bonded_host_may(board):
    board.encrypt()
    for code, payload in changes(board):
        assert board.error_of(code, payload) == 0
    assert board.rigs_taken == [RIG]
    assert board.tap.on
    for _ in range(30):
        board.journal.service(True)
    assert board.journal.oldest == board.journal.next
    assert board.heard() == list(range(6))


def test_what_was_written_before_the_link_was_encrypted_stays_untrusted(board):
    before = state(board)
    # All within one turn of the main loop.
    board.ask(wire.COMMAND_ERASE, erase(board))
    board.encrypt()
    board.run(2)
    assert board.ble.answers[-1][2] == wire.ERROR_REFUSED
    # A stranger who writes and makes room for a friend.
    board.disconnect()
    board.ble.handler(1, (64, 1, memoryview(bytes(6))))
    board.ask(wire.COMMAND_ERASE, erase(board))
    board.ble.handler(2, (64, 1, memoryview(bytes(6))))
    board.ble.handler(1, (64, 1, memoryview(bytes(6))))
    board.encrypt()
    board.run(20)
    assert state(board) == before


@pytest.mark.parametrize("code", [wire.COMMAND_RIG_COMMIT, wire.COMMAND_ERASE])
def test_not_while_the_wheel_turns(board, code):
    board.encrypt()
    board.error_of(wire.COMMAND_RIG_BEGIN, begin())
    board.error_of(wire.COMMAND_RIG_PART, part(0, RIG))
    board.at_rest = False
    before = state(board)
    assert board.error_of(code, erase(board)) == wire.ERROR_BUSY
    assert state(board) == before
    board.at_rest = True
    assert board.error_of(code, erase(board)) == 0


def test_a_rig_file_in_parts_in_any_order(board):
    board.encrypt()
    data = b"".join(b"# line %d\n" % number for number in range(200)) + RIG
    assert board.error_of(wire.COMMAND_RIG_BEGIN, begin(data)) == 0
    offsets = list(range(0, len(data), 11))
    random.Random(1).shuffle(offsets)
    for offset in offsets:
        assert board.error_of(wire.COMMAND_RIG_PART, part(offset, data[offset : offset + 11])) == 0
    assert board.error_of(wire.COMMAND_RIG_COMMIT) == 0
    assert board.rigs_taken == [data]


def test_a_rig_file_that_is_wrong_or_not_whole(board):
    board.encrypt()
    assert board.error_of(wire.COMMAND_RIG_COMMIT) == wire.ERROR_VALUE
    assert board.error_of(wire.COMMAND_RIG_BEGIN, struct.pack("<HI", 5000, 0)) == wire.ERROR_VALUE
    assert board.error_of(wire.COMMAND_RIG_BEGIN, begin()) == 0
    assert board.error_of(wire.COMMAND_RIG_PART, part(0, RIG[:-1])) == 0
    assert board.error_of(wire.COMMAND_RIG_PART, part(len(RIG), b"x")) == wire.ERROR_VALUE
    assert board.error_of(wire.COMMAND_RIG_COMMIT) == wire.ERROR_VALUE
    for bad in (b"pulses_per_rev = none\n", b"\xff\xfe"):
        assert board.error_of(wire.COMMAND_RIG_BEGIN, begin(bad)) == 0
        assert board.error_of(wire.COMMAND_RIG_PART, part(0, bad)) == 0
        assert board.error_of(wire.COMMAND_RIG_COMMIT) == wire.ERROR_RIG
    assert board.rigs_taken == []


def test_parts_of_one_host_are_nothing_to_the_next(board):
    board.encrypt()
    board.error_of(wire.COMMAND_RIG_BEGIN, begin())
    board.error_of(wire.COMMAND_RIG_PART, part(0, RIG))
    board.disconnect()
    board.connect()
    board.encrypt()
    assert board.error_of(wire.COMMAND_RIG_COMMIT) == wire.ERROR_VALUE


def test_another_journals_id_erases_nothing(board):
    board.encrypt()
    before = state(board)
    wrong = struct.pack("<I", board.journal.id ^ 1)
    assert board.error_of(wire.COMMAND_ERASE, wrong) == wire.ERROR_VALUE
    assert state(board) == before


def test_versions(board):
    for lowest, highest, error in (
        (2, 2, 0),
        (1, 9, 0),
        (0, 1, wire.ERROR_VERSION),
        (3, 255, wire.ERROR_VERSION),
    ):
        assert board.error_of(wire.COMMAND_HELLO, bytes((lowest, highest))) == error
        content = board.ble.answers[-1][3:-4]
        kept = board.journal
        assert struct.unpack(wire.HELLO_FORMAT, content) == (2, kept.id, kept.oldest, kept.next)


def test_time_is_told_to_all_and_kept_from_the_bonded_hourly(board):
    times = struct.pack("<Q", 1_700_000_000_000_000)
    assert board.error_of(wire.COMMAND_TIME, times) == 0
    assert struct.unpack("<QH", board.ble.answers[-1][3:-4]) == (7_000_000, board.journal.boot)
    board.keep()
    assert board.journal.next == 6
    board.encrypt()
    for _ in range(3):
        board.error_of(wire.COMMAND_TIME, times)
        board.keep()
    assert board.journal.next == 7
    record = bytes(board.journal.get(6))
    assert (record[0], record[1]) == (wire.RECORD_TIME, wire.TIME_SIZE)
    assert struct.unpack_from(wire.TIME_FORMAT, record, 8) == (7_000_000, 1_700_000_000_000_000)
    board.now_ms += 3_600_000
    board.error_of(wire.COMMAND_TIME, times)
    board.keep()
    assert board.journal.next == 8


def test_values_out_of_range(board):
    for code, payload in (
        (wire.COMMAND_ACKNOWLEDGE, struct.pack("<I", 6)),
        (wire.COMMAND_FROM, struct.pack("<I", 7)),
        (wire.COMMAND_FROM, b"\0\0\0"),
        (wire.COMMAND_HELLO, b"\2"),
        (wire.COMMAND_TIME, bytes(7)),
        (wire.COMMAND_MAGNETS, b""),
    ):
        assert board.error_of(code, payload) == wire.ERROR_VALUE
    assert board.error_of(wire.COMMAND_MAGNETS, b"\0") == 0
    for code in (0, 12, 255):
        assert board.error_of(code, bytes(8)) == wire.ERROR_UNKNOWN
    # What is appended is for a newer board.
    assert board.error_of(wire.COMMAND_HELLO, b"\2\2 and more") == 0


def test_several_commands_in_one_write_and_answers_in_turn(board):
    before = len(board.ble.answers)
    board.write(b"".join(command(wire.COMMAND_FROM, bytes(4), tag) for tag in range(9)))
    board.run(20)
    assert [answer[1] for answer in board.ble.answers[before:]] == list(range(9))


def test_answers_wait_for_the_one_before_and_go_on_without_it(board):
    done, board.ble.handler = board.ble.handler, lambda event, data: event != 20 and done(event, data)
    before = len(board.ble.answers)
    board.ask(wire.COMMAND_RAW_STOP)
    board.ask(wire.COMMAND_RAW_STOP)
    board.run(4000)
    assert len(board.ble.answers) == before + 1
    board.run(1100)
    assert len(board.ble.answers) == before + 2


def mutations(board, count, seed):
    """Random and mutated writes: bits flipped, cut, doubled, glued together."""
    rng = random.Random(seed)
    good = [command(code, payload, 7) for code, payload in changes(board)]
    good += [command(wire.COMMAND_ACKNOWLEDGE, bytes(4)), command(wire.COMMAND_TIME, bytes(8))]
    for _ in range(count):
        match rng.randrange(5):
            case 0:
                yield rng.randbytes(rng.randrange(40))
            case 1:
                data = bytearray(rng.choice(good))
                for bit in rng.sample(range(8 * len(data)), rng.randrange(1, 4)):
                    data[bit >> 3] ^= 1 << (bit & 7)
                yield bytes(data)
            case 2:
                data = rng.choice(good)
                yield data[: rng.randrange(len(data))]
            case 3:
                yield bytes([rng.randrange(12), rng.randrange(256), 4]) + rng.randbytes(8)
            case 4:
                data = rng.choice(good)
                yield rng.randbytes(1) + data


@pytest.mark.parametrize("trusted", [False, True])
def test_fifty_thousand_malformed_writes_change_nothing(board, trusted):
    if trusted:
        board.encrypt()
    board.run(1)
    before = state(board)
    for counted, data in enumerate(mutations(board, 50_000, seed=trusted)):
        board.write(data)
        board.now_ms += 1
        board.radio.service(board.now_ms)
        if not counted % 10_000:
            board.ble.sent.clear()
            board.ble.answers.clear()
            assert state(board) == before
    assert state(board) == before
    assert board.radio.control.refused > 30_000


def test_more_writes_than_anyone_reads_are_dropped_not_hoarded(board):
    for _ in range(1000):
        board.write(command(wire.COMMAND_RAW_STOP))
    assert len(board.radio._events) <= 16
    board.run(50)
    assert board.error_of(wire.COMMAND_RAW_STOP) == 0


def test_answers_are_sealed(board):
    board.error_of(wire.COMMAND_HELLO, b"\2\2")
    for answer in board.ble.answers:
        assert framing.checksum(answer[:-4]) == answer[-4:]
