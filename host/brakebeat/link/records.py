"""What the rep channel carries and the journal keeps: a head, then a finished rep or a note of the time."""

from __future__ import annotations

import struct
from dataclasses import dataclass

from brakebeat.board.files import load_wire
from brakebeat.board.messages import decode_rep
from brakebeat.results import Cue, Rep


@dataclass(frozen=True)
class Record:
    """Any record. Its key is the journal's id and ``sequence``; times are on the clock of power-up ``boot``."""

    sequence: int
    boot: int


@dataclass(frozen=True)
class RepRecord(Record):
    """A finished rep. ``packed``: as the board packed it."""

    rep: Rep
    cues: list[Cue]
    packed: bytes


@dataclass(frozen=True)
class TimeRecord(Record):
    """What a host told the board of the time: at ``board_us`` on its clock it was ``wall_us`` since 1970 UTC."""

    board_us: int
    wall_us: int


def decode_record(message: bytes) -> Record | None:
    """A record; a plain ``Record`` for a kind of a newer board, None for what is no record."""
    wire = load_wire()
    head_size = struct.calcsize(wire.RECORD_HEAD_FORMAT)
    if len(message) < head_size:
        return None
    kind, size, boot, sequence = struct.unpack_from(wire.RECORD_HEAD_FORMAT, message)
    body = message[head_size : head_size + size]
    if len(body) < size:
        return None
    if kind == wire.RECORD_REP:
        try:
            rep, cues = decode_rep(body)
        except ValueError:
            return None
        return RepRecord(sequence, boot, rep, cues, body)
    if kind == wire.RECORD_TIME:
        if size < struct.calcsize(wire.TIME_FORMAT):
            return None
        return TimeRecord(sequence, boot, *struct.unpack_from(wire.TIME_FORMAT, body))
    return Record(sequence, boot)
