"""What the board says of itself: the live message and the status, packed as `wire` lays them out."""

import os
import struct
import sys

from . import VERSION, wire
from .framing import checksum


def pack_live(buffer, session, cue, dropped):
    """Fill ``buffer`` (LIVE_SIZE bytes). cue: (count, kind, rep, ms), dropped: live messages lost so far."""
    count, kind, rep, ms = cue
    struct.pack_into(
        wire.LIVE_FORMAT,
        buffer,
        0,
        session.phase,
        min(session.reps.of_set, 255),
        count,
        kind,
        rep,
        session.reps.count & 0xFFFF,
        ms,
        session.speed_milli_rad_s,
        dropped & 0xFFFF,
    )


def pack_status(buffer, board, radio):
    """Fill ``buffer`` (STATUS_SIZE bytes and the seal). board: the App, radio: its Radio."""
    session = board.session
    journal = board.journal
    access = radio.access
    state = (
        (not board.at_rest) | access.open << 1 | access.pairing << 2 | access.trusted << 3 | board.tap.on << 4
    )
    values = (
        wire.PROTOCOL_VERSION,
        state,
        journal.boot & 0xFFFF,
        board.uptime_s(),
        journal.next,
        journal.oldest,
        journal.id,
        min(journal.waiting, 0xFFFF),
        radio.connections & 0xFFFF,
        session.reps.count,
        session.bounced,
        session.missed,
        session.spurious,
        session.overrun,
        session.incomplete,
        journal.lost,
        journal.overwritten,
        journal.torn,
        journal.erases,
        journal.program_us,
        journal.erase_us,
        radio.live_dropped,
        radio.retries,
        board.sounder.sounded,
        board.tap.all_lost,
        radio.control.refused,
        _free_flash(),
        board.supply.millivolts() if board.supply else 0xFFFF,
    )
    texts = (VERSION, sys.implementation.name, sys.platform, radio.name, board.trouble)
    sizes = (12, 12, 12, 20, 160)
    cut = [_cut(*text) for text in zip(texts, sizes)]  # noqa: B905 - not on MicroPython
    pulses = board.rig["pulses_per_rev"]
    struct.pack_into(wire.STATUS_FORMAT, buffer, 0, *values, *cut, pulses, board.rig_crc, board.faults)
    buffer[-4:] = checksum(memoryview(buffer)[:-4])


def _free_flash():
    try:
        numbers = os.statvfs("/")
        return min(numbers[1] * numbers[3], wire.ABSENT)
    except (OSError, AttributeError):
        return wire.ABSENT


def _cut(text, size):
    # type: (str, int) -> bytes
    """``text`` as UTF-8, cut at a character's edge to ``size`` bytes."""
    while len(text.encode()) > size:
        text = text[:-1]
    return text.encode()
