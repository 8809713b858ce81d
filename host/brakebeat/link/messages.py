"""What the board says of itself: the live message and the status, decoded."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Any

from brakebeat.board.files import load_wire
from brakebeat.link.reassembly import unseal
from brakebeat.wording import printable

# A supply that nobody measures.
_NOT_MEASURED = 0xFFFF


@dataclass(frozen=True)
class LiveState:
    """What happens at the board now. Counts marked "low bits" start again at 0 when those run out."""

    phase: str  # "idle", "concentric", "eccentric"; "unknown" from a newer board
    set_rep: int  # finished reps of this set, momentum reps included, at most 255
    reps_done: int  # finished reps since power-up, low 16 bits
    speed_rad_s: float
    dropped: int  # live messages that the board could not send, low 16 bits
    cue_count: int  # cues announced since power-up, low 8 bits
    cue_kind: str | None  # the last one: "window", "late", "drop_off", "set_done"; None before the first
    cue_rep: int  # the rep that it belongs to, low 16 bits
    cue_s: float  # when it sounded, on the board's clock


@dataclass(frozen=True)
class BoardStatus:
    """How the board is; counters since its power-up, those of edges as in ``results.Quality``.

    None where the board does not know or does not measure it.
    """

    protocol_version: int
    moving: bool  # the wheel turns or did so within the last 2 s
    bondable: bool  # new bonds are taken now
    pairing: bool  # this board can pair
    trusted: bool  # this link may change things
    raw: bool  # raw edges are on
    boot: int  # power-ups so far, low 16 bits
    uptime_s: int
    journal_next: int
    journal_oldest: int
    journal_id: int
    reps_waiting: int
    connections: int
    rep_count: int
    bounced: int
    missed: int
    spurious: int
    overrun: int
    incomplete: int
    reps_lost: int
    journal_overwritten: int
    journal_torn: int
    journal_erases: int
    program_us: int
    erase_us: int
    live_dropped: int
    notify_retries: int
    cues_sounded: int
    raw_lost: int
    refused: int
    free_flash: int | None
    supply_mv: int | None
    pulses_per_rev: int
    rig_crc: int  # CRC-32 of the rig file in force; 0 where there is none
    faults: int | None  # errors of its program that it went on after; None from an older board
    firmware_version: str
    implementation: str
    platform: str
    name: str
    trouble: str


def decode_live(message: bytes | bytearray) -> LiveState | None:
    """The live state in a notification; None where it is too short to be one. Longer ones are fine."""
    wire = load_wire()
    if len(message) < wire.LIVE_SIZE:
        return None
    names = [name for name, _ in wire.LIVE_FIELDS]
    values: dict[str, Any] = dict(zip(names, struct.unpack_from(wire.LIVE_FORMAT, message), strict=True))
    phase = values.pop("phase")
    kind = values.pop("cue_kind")
    return LiveState(
        phase=wire.PHASE_NAMES[phase] if phase < len(wire.PHASE_NAMES) else "unknown",
        cue_kind=wire.CUE_NAMES[kind] if kind < len(wire.CUE_NAMES) else None,
        speed_rad_s=values.pop("speed_milli_rad_s") / 1000,
        cue_s=values.pop("cue_ms") / 1000,
        **values,
    )


def decode_status(value: bytes | bytearray) -> BoardStatus | None:
    """The status as read; None where it is damaged or too short. Longer ones of a newer board are fine."""
    wire = load_wire()
    message = unseal(value)
    shortest = wire.field_offset(wire.STATUS_FIELDS, "faults")
    if message is None or len(message) < shortest:
        return None
    values: dict[str, Any] = {}
    unpacked = struct.unpack_from(wire.STATUS_FORMAT, message.ljust(wire.STATUS_SIZE, b"\0"))
    for (name, _), item in zip(wire.STATUS_FIELDS, unpacked, strict=True):
        values[name] = _text(item) if isinstance(item, bytes) else item
    state = values.pop("state")
    for name in ("moving", "bondable", "pairing", "trusted", "raw"):
        values[name] = bool(state & getattr(wire, f"STATE_{name.upper()}"))
    values["free_flash"] = _unless(wire.ABSENT, values["free_flash"])
    values["supply_mv"] = _unless(_NOT_MEASURED, values["supply_mv"])
    if len(message) < wire.STATUS_SIZE:
        # What was added to the layout last.
        values["faults"] = None
    return BoardStatus(**values)


def _text(padded: bytes) -> str:
    return printable(padded.rstrip(b"\0").decode(errors="replace"))


def _unless(absent: int, value: int) -> int | None:
    return None if value == absent else value


def protocol_version(value: bytes | bytearray) -> int | None:
    """The protocol version of a status that may be laid out in another way; None where it is damaged."""
    message = unseal(value)
    return message[0] if message else None
