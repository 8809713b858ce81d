"""The rig as header keys of a recording, and which rig belongs to which board."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any

from brakebeat.errors import InputError
from brakebeat.formats.rig import Rig
from brakebeat.link.events import Connected

# What belongs to one recording's edges or to the board, not to the rig that a recording was made on.
_LEFT_OUT = {"name", "ticks_wrap", "zero_index", "brake_preset", "cues", "board"}


def rig_header(rig: Rig) -> dict[str, str]:
    """Header keys of a recording made on ``rig``; what is unknown stays absent."""
    values = rig.model_dump(exclude_none=True)
    return {key: _text(value) for key, value in values.items() if key not in _LEFT_OUT}


def _text(value: Any) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(repr(item) for item in value)}]"
    return repr(value) if isinstance(value, float) else str(value)


def rig_of(board: str, rigs: Sequence[Rig]) -> Rig | None:
    """The rig that belongs to the board of this name: the one of that name, or the only one; None without any.

    Raises:
        InputError: several rigs, and none has the name.
    """
    if len(rigs) <= 1:
        return rigs[0] if rigs else None
    for rig in rigs:
        if rig.name is not None and rig.name.lower() == board.lower():
            return rig
    names = ", ".join(repr(rig.name) for rig in rigs)
    raise InputError(
        f"--rig: no rig file is for the board {board!r} (they are named {names}); set `name` in it"
    )


def board_header(event: Connected, rigs: Sequence[Rig]) -> dict[str, str]:
    """The header of what a connected board's edges are recorded under: its rig and where they are from.

    Raises:
        InputError: no rig is known, or the one that is is not the board's.
    """
    rig = rig_of(event.name, rigs)
    magnets = event.status.pulses_per_rev
    if rig is None and magnets is None:
        raise InputError("--rig FILE is needed: the board does not tell how many pulses a turn has")
    if rig is not None and magnets is not None and rig.pulses_per_rev != magnets:
        raise InputError(
            f"--rig: it says pulses_per_rev = {rig.pulses_per_rev}, but {event.name} counts {magnets}; name that "
            "board's rig file, or put this one onto it with `brakebeat set`"
        )
    header = {"pulses_per_rev": str(magnets)} if rig is None else rig_header(rig)
    began = datetime.datetime.fromtimestamp(event.wall_us / 1e6, datetime.UTC).isoformat(timespec="seconds")
    return header | {
        "recorded_by": f"{event.name} ({event.address}), firmware {event.status.firmware_version}",
        # What ties the times below to the calendar.
        "clock": f"{event.board_us} us was {began}",
    }
