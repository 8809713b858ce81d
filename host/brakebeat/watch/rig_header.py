"""The rig as header keys of a recording, and which rig belongs to which board."""

from __future__ import annotations

import datetime
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from brakebeat.errors import InputError
from brakebeat.formats.rig import Rig, read_rig
from brakebeat.link.events import Connected
from brakebeat.watch.rig_change import board_text

# What belongs to one recording's edges or to the board, not to the rig that a recording was made on.
_LEFT_OUT = {"name", "ticks_wrap", "zero_index", "brake_preset", "cues", "board"}


@dataclass(frozen=True)
class KnownRig:
    """A rig, and the CRC-32s that its file may have on a board; none where it is from no file."""

    rig: Rig
    crcs: frozenset[int] = frozenset()

    @classmethod
    def from_file(cls, path: Path) -> KnownRig:
        """The rig in a file. Raises InputError."""
        rig = read_rig(path)
        text = path.read_bytes()
        return cls(rig, frozenset((zlib.crc32(text), zlib.crc32(board_text(text)))))


def rig_header(rig: Rig) -> dict[str, str]:
    """Header keys of a recording made on ``rig``; what is unknown stays absent."""
    values = rig.model_dump(exclude_none=True)
    return {key: _text(value) for key, value in values.items() if key not in _LEFT_OUT}


def _text(value: Any) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(repr(item) for item in value)}]"
    return repr(value) if isinstance(value, float) else str(value)


def rig_of(board: str, rigs: Sequence[KnownRig]) -> KnownRig | None:
    """The rig that belongs to the board of this name: the one of that name, or the only one; None without any.

    Raises:
        InputError: several rigs, and none has the name.
    """
    if len(rigs) <= 1:
        return rigs[0] if rigs else None
    for known in rigs:
        if known.rig.name is not None and known.rig.name.lower() == board.lower():
            return known
    names = ", ".join(repr(known.rig.name) for known in rigs)
    raise InputError(
        f"--rig: no rig file is for the board {board!r} (they are named {names}); set `name` in it"
    )


def other_file(event: Connected, rigs: Sequence[KnownRig]) -> str:
    """Words where the board works with another rig file than the one that is meant for it; else empty."""
    known, theirs = rig_of(event.name, rigs), event.status.rig_crc
    if known is None or not known.crcs or not theirs or theirs in known.crcs:
        return ""
    return f"{event.name} works with another rig file than --rig names; `brakebeat set` puts this one onto it"


def board_header(event: Connected, rigs: Sequence[KnownRig]) -> dict[str, str]:
    """The header of what a connected board's edges are recorded under: its rig and where they are from.

    Raises:
        InputError: the rig that is known is of another wheel.
    """
    known = rig_of(event.name, rigs)
    rig = None if known is None else known.rig
    magnets = event.status.pulses_per_rev
    if rig is not None and rig.pulses_per_rev != magnets:
        raise InputError(
            f"--rig: it says pulses_per_rev = {rig.pulses_per_rev}, but {event.name} counts {magnets}; name that "
            "board's rig file, or put this one onto it with `brakebeat set`"
        )
    header = {"pulses_per_rev": str(magnets)} if rig is None else rig_header(rig)
    return header | clock_header(event)


def clock_header(event: Connected) -> dict[str, str]:
    """Header keys that say which board the edges are from, and what ties their times to the calendar."""
    began = datetime.datetime.fromtimestamp(event.wall_us / 1e6, datetime.UTC).isoformat(timespec="seconds")
    return {
        "recorded_by": f"{event.name} ({event.address}), firmware {event.status.firmware_version}",
        "clock": f"{event.board_us} us was {began}",
    }
