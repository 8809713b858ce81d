"""Live message, status and commands: what the board packs is what the host reads, and garbage is refused."""

import math
import struct
from types import SimpleNamespace

from hypothesis import given
from hypothesis import strategies as st

from brakebeat.link.messages import (
    acknowledge_command,
    decode_live,
    decode_status,
    listen_command,
    protocol_version,
)
from tests.board_app.firmware import framing, status, wire

U32 = st.integers(0, 2**32 - 1)


def make_session(**values):
    """What the packers need of a session."""
    base = {"phase": 1, "speed_milli_rad_s": 61_234}
    counters = dict.fromkeys(("bounced", "missed", "spurious", "overrun", "incomplete"), 0)
    reps = SimpleNamespace(count=70_000, of_set=values.pop("of_set", 3))
    return SimpleNamespace(reps=reps, rep_count=reps.count, **(base | counters | values))


COUNTS = {
    "reps_waiting": 3,
    "connections": 2,
    "uptime_s": 100,
    "reps_lost": 1,
    "live_dropped": 9,
    "notify_retries": 4,
    "cues_sounded": 5,
}


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
    status.pack_live(buffer, make_session(of_set=300, phase=0), (0, wire.CUE_NONE, 0, 0), 0)
    live = decode_live(buffer)
    assert (live.cue_kind, live.set_rep, live.phase) == (None, 255, "idle")


def test_a_longer_live_message_of_a_newer_board_is_read():
    buffer = bytearray(wire.LIVE_SIZE)
    status.pack_live(buffer, make_session(), (0, wire.CUE_NONE, 0, 0), 0)
    assert decode_live(bytes(buffer) + b"new") == decode_live(buffer)
    assert decode_live(buffer[:-1]) is None


@given(counters=st.fixed_dictionaries(dict.fromkeys(("bounced", "missed", "spurious", "overrun"), U32)))
def test_status_as_packed(counters):
    buffer = bytearray(wire.STATUS_SIZE)
    status.pack_status(
        buffer, make_session(**counters), COUNTS, "barn wheel", "rig.toml: line 3: no such key"
    )
    seen = decode_status(buffer)
    assert {name: getattr(seen, name) for name in counters} == counters
    assert {name: getattr(seen, name) for name in COUNTS} == COUNTS
    assert (seen.name, seen.trouble) == ("barn wheel", "rig.toml: line 3: no such key")
    assert (seen.protocol_version, seen.implementation) == (wire.PROTOCOL_VERSION, "cpython")


def test_status_counters_stop_at_their_largest_value_and_text_at_a_characters_edge():
    buffer = bytearray(wire.STATUS_SIZE)
    session = make_session(bounced=2**40)
    status.pack_status(buffer, session, COUNTS | {"reps_waiting": 1000}, "ä" * 30, "x" * 500)
    seen = decode_status(buffer)
    assert (seen.bounced, seen.reps_waiting) == (2**32 - 1, 255)
    assert (seen.name, seen.trouble) == ("ä" * 10, "x" * 160)


def test_a_longer_status_of_a_newer_board_is_read():
    buffer = bytearray(wire.STATUS_SIZE)
    status.pack_status(buffer, make_session(), COUNTS, "barn wheel", "")
    longer = bytearray(buffer[: -wire.SEAL_SIZE] + b"new fields" + bytes(wire.SEAL_SIZE))
    framing.seal(longer, len(longer) - wire.SEAL_SIZE)
    assert decode_status(longer) == decode_status(buffer)


def test_a_status_fits_an_attribute():
    # The largest attribute value is 512 bytes: Bluetooth Core Specification, from memory.
    assert wire.STATUS_SIZE <= 512


@given(data=st.data())
def test_a_torn_or_damaged_status_is_refused(data):
    buffer = bytearray(wire.STATUS_SIZE)
    status.pack_status(buffer, make_session(), COUNTS, "barn wheel", "")
    if data.draw(st.booleans()):
        buffer[data.draw(st.integers(0, len(buffer) - 1))] ^= data.draw(st.integers(1, 255))
    else:
        del buffer[data.draw(st.integers(0, len(buffer) - 1)) :]
    assert decode_status(buffer) is None
    assert protocol_version(buffer) is None


@given(st.binary(max_size=600))
def test_garbage_is_survived(value):
    decode_live(value)
    assert decode_status(value) is None


def test_the_version_of_an_unknown_layout_is_still_read():
    message = bytearray(b"\x09and whatever comes then" + bytes(wire.SEAL_SIZE))
    framing.seal(message, len(message) - wire.SEAL_SIZE)
    assert protocol_version(message) == 9
    assert decode_status(message) is None


def test_commands():
    assert struct.unpack("<BI", listen_command()) == (wire.COMMAND_LISTEN, wire.PROTOCOL_VERSION)
    assert struct.unpack("<BI", acknowledge_command(70_000)) == (wire.COMMAND_ACKNOWLEDGE, 70_000)
