"""What a board packs is what the host reads: live, status, records, commands, answers; garbage is refused."""

import math
import struct
import zlib
from types import SimpleNamespace

from hypothesis import given
from hypothesis import strategies as st

from brakebeat.link.commands import (
    pack_command,
    unpack_answer,
    unpack_clock,
    unpack_journal,
    unpack_raw_start,
)
from brakebeat.link.messages import decode_live, decode_status, protocol_version
from brakebeat.link.records import decode_record
from brakebeat.link.words import status_lines
from tests.board_app.firmware import status, wire
from tests.link.fake_board import FakeBoard, packed_rep, record, sealed

NO_CUE = 255
U32 = st.integers(0, 2**32 - 1)


def make_session(**values):
    """What the packers need of a session."""
    base = {"phase": 1, "speed_milli_rad_s": 61_234}
    counters = dict.fromkeys(("bounced", "missed", "spurious", "overrun", "incomplete"), 0)
    reps = SimpleNamespace(count=70_000, of_set=values.pop("of_set", 3))
    return SimpleNamespace(reps=reps, rep_count=reps.count, **(base | counters | values))


def test_live_fits_one_notification_at_the_smallest_mtu():
    assert wire.LIVE_SIZE <= wire.DEFAULT_MTU - wire.NOTIFY_OVERHEAD


def test_live_as_packed():
    buffer = bytearray(wire.LIVE_SIZE)
    status.pack_live(buffer, make_session(), (7, wire.CUE_LATE, 12, 45_678), 65_537)
    live = decode_live(buffer)
    assert live.phase == "concentric"
    assert (live.set_rep, live.reps_done, live.dropped) == (3, 70_000 % 65_536, 1)
    assert (live.cue_count, live.cue_kind, live.cue_rep, live.cue_s) == (7, "late", 12, 45.678)
    assert math.isclose(live.speed_rad_s, 61.234)


def test_live_before_the_first_cue_and_in_a_long_set():
    buffer = bytearray(wire.LIVE_SIZE)
    status.pack_live(buffer, make_session(of_set=300, phase=0), (0, NO_CUE, 0, 0), 0)
    live = decode_live(buffer)
    assert (live.cue_kind, live.set_rep, live.phase) == (None, 255, "idle")


def test_a_longer_live_message_of_a_newer_board_is_read():
    buffer = bytearray(wire.LIVE_SIZE)
    status.pack_live(buffer, make_session(), (0, NO_CUE, 0, 0), 0)
    assert decode_live(bytes(buffer) + b"new") == decode_live(buffer)
    assert decode_live(buffer[:-1]) is None


@given(counters=st.fixed_dictionaries(dict.fromkeys(("bounced", "journal_torn", "refused", "erase_us"), U32)))
def test_status_as_packed(counters):
    texts = {"name": "bärn wheel".encode(), "trouble": b"rig.toml: line 3: no such key"}
    state = wire.STATE_BONDABLE | wire.STATE_RAW
    seen = decode_status(
        FakeBoard(status=counters | texts | {"state": state, "free_flash": 7}).status_message()
    )
    assert {name: getattr(seen, name) for name in counters} == counters
    assert (seen.name, seen.trouble) == ("bärn wheel", "rig.toml: line 3: no such key")
    assert (seen.protocol_version, seen.free_flash, seen.supply_mv) == (wire.PROTOCOL_VERSION, 7, None)
    assert (seen.moving, seen.bondable, seen.pairing, seen.trusted, seen.raw) == (
        False,
        True,
        False,
        False,
        True,
    )


def test_a_longer_status_of_a_newer_board_is_read():
    message = FakeBoard().status_message()
    assert decode_status(sealed(message[:-4] + b"new fields")) == decode_status(message)


def test_a_status_fits_an_attribute():
    # The largest attribute value is 512 bytes: Bluetooth Core Specification, from memory.
    assert len(FakeBoard().status_message()) <= 512


@given(data=st.data())
def test_a_torn_or_damaged_status_is_refused(data):
    message = bytearray(FakeBoard().status_message())
    if data.draw(st.booleans()):
        message[data.draw(st.integers(0, len(message) - 1))] ^= data.draw(st.integers(1, 255))
    else:
        del message[data.draw(st.integers(0, len(message) - 1)) :]
    assert decode_status(message) is None
    assert protocol_version(message) is None


def test_the_version_of_an_unknown_layout_is_still_read():
    message = sealed(b"\x09and whatever comes then")
    assert protocol_version(message) == 9
    assert decode_status(message) is None


def test_a_command_as_the_protocol_has_it():
    packed = pack_command(wire.COMMAND_HELLO, 7, bytes([2, 2]))
    assert packed[:5] == bytes([1, 7, 2, 2, 2])
    assert packed[5:] == struct.pack("<I", zlib.crc32(packed[:5]))


@given(st.integers(0, 255), st.integers(0, 255), st.integers(0, 255), st.binary(max_size=13))
def test_answers(code, tag, error, payload):
    answer = unpack_answer(sealed(bytes([code, tag, error]) + payload))
    assert (answer.code, answer.tag, answer.error, answer.payload) == (code, tag, error, payload)


def test_what_answers_carry():
    version, journal = unpack_journal(struct.pack("<BIII", 2, 77, 5, 9) + b"more")
    assert (version, journal.id, journal.oldest, journal.next) == (2, 77, 5, 9)
    assert unpack_clock(struct.pack("<QH", 2**40, 3)) == (2**40, 3)
    assert unpack_raw_start(struct.pack("<Q", 2**40)) == 2**40
    assert (unpack_journal(bytes(12)), unpack_clock(bytes(9)), unpack_raw_start(bytes(7))) == (
        None,
        None,
        None,
    )


@given(st.binary(max_size=600))
def test_garbage_is_survived(value):
    decode_live(value)
    unpack_journal(value)
    unpack_clock(value)
    decode_record(value)
    assert decode_status(value) is None
    assert unpack_answer(value) is None


@given(data=st.data())
def test_mutated_records_never_crash(data):
    message = bytearray(record(5, packed_rep(5)))
    for _ in range(data.draw(st.integers(1, 4))):
        message[data.draw(st.integers(0, len(message) - 1))] = data.draw(st.integers(0, 255))
    decode_record(bytes(message[: data.draw(st.integers(0, len(message)))]))


def test_a_status_from_before_faults_were_counted():
    board = FakeBoard(status={"faults": 3})
    whole = board.status_message()
    assert decode_status(whole).faults == 3
    older = sealed(whole[: -4 - 4])
    assert decode_status(older).faults is None
    assert decode_status(older).pulses_per_rev == 2
    assert decode_status(sealed(whole[: -4 - 5])) is None


def test_a_board_tells_no_terminal_what_to_do():
    board = FakeBoard(status={"name": b"barn\x1b[2Jwheel", "trouble": "a\r\nb \u202e fällt".encode()})
    told = decode_status(board.status_message())
    assert (told.name, told.trouble) == ("barn\ufffd[2Jwheel", "a\ufffd\ufffdb \ufffd fällt")


def test_faults_are_told_where_there_are_any():
    assert not any("faults" in line for line in status_lines(decode_status(FakeBoard().status_message())))
    board = FakeBoard(status={"faults": 2, "journal_torn": 3, "trouble": b"main loop: OSError(5,)"})
    *_, faults, trouble = status_lines(decode_status(board.status_message()))
    assert faults == "faults  2 errors that its program went on after, 3 damaged records or blocks"
    assert trouble == "trouble main loop: OSError(5,)"
