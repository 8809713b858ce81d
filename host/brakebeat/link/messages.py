"""What the board says of itself: the live message and the status, decoded; and the commands it takes."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Any

from brakebeat.board.files import load_wire
from brakebeat.link.reassembly import unseal


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
    """How the board is; counters since its power-up, those of edges as in ``results.Quality``."""

    protocol_version: int
    reps_waiting: int
    connections: int
    uptime_s: int
    rep_count: int
    bounced: int
    missed: int
    spurious: int
    overrun: int
    incomplete: int
    reps_lost: int
    live_dropped: int
    notify_retries: int
    cues_sounded: int
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
    if message is None or len(message) < wire.STATUS_SIZE - wire.SEAL_SIZE:
        return None
    values: dict[str, Any] = {}
    unpacked = struct.unpack_from(wire.STATUS_FORMAT, message)
    for (name, _), item in zip(wire.STATUS_FIELDS, unpacked, strict=True):
        values[name] = item.rstrip(b"\0").decode(errors="replace") if isinstance(item, bytes) else item
    return BoardStatus(**values)


def protocol_version(value: bytes | bytearray) -> int | None:
    """The protocol version of a status that may be laid out in another way; None where it is damaged."""
    message = unseal(value)
    return message[0] if message else None


def listen_command() -> bytes:
    """Tells the board that this host has subscribed: send what waits."""
    wire = load_wire()
    return struct.pack(wire.COMMAND_FORMAT, wire.COMMAND_LISTEN, wire.PROTOCOL_VERSION)


def acknowledge_command(index: int) -> bytes:
    """Tells the board that every rep up to ``index`` has arrived."""
    wire = load_wire()
    return struct.pack(wire.COMMAND_FORMAT, wire.COMMAND_ACKNOWLEDGE, index & 0xFFFFFFFF)
