"""What the board says of itself: the live message and the status, packed as `wire` lays them out."""

import struct
import sys

from . import VERSION, wire
from .clock import ms_after, now_ms
from .framing import seal

_U32 = 0xFFFFFFFF


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


class Uptime:
    """Whole seconds since it was made; ask at least every few days."""

    def __init__(self):
        # type: () -> None
        self._last_ms = now_ms()
        self._rest_ms = 0
        self._seconds = 0

    def seconds(self):
        # type: () -> int
        """Seconds so far."""
        now = now_ms()
        self._rest_ms += ms_after(now, self._last_ms)
        self._last_ms = now
        self._seconds += self._rest_ms // 1000
        self._rest_ms %= 1000
        return self._seconds


def pack_status(buffer, session, counts, name, trouble):
    """Fill ``buffer`` (STATUS_SIZE bytes), sealed.

    counts: the fields of STATUS_FIELDS that are neither the session's nor text, by name.
    """
    values = []  # type: list[object]
    for field, code in wire.STATUS_FIELDS:
        if code[-1] == "s":
            values.append(_cut(_text(field, name, trouble), int(code[:-1])))
        elif field == "protocol_version":
            values.append(wire.PROTOCOL_VERSION)
        else:
            value = counts[field] if field in counts else getattr(session, field)
            values.append(min(value, _LARGEST[code]))
    struct.pack_into(wire.STATUS_FORMAT, buffer, 0, *values)
    seal(buffer, wire.STATUS_SIZE - wire.SEAL_SIZE)


_LARGEST = {"B": 0xFF, "H": 0xFFFF, "I": _U32}


def _text(field, name, trouble):
    if field == "firmware_version":
        return VERSION
    if field == "implementation":
        return sys.implementation.name
    if field == "platform":
        return sys.platform
    return name if field == "name" else trouble


def _cut(text, size):
    # type: (str, int) -> bytes
    """``text`` as UTF-8, cut at a character's edge to ``size`` bytes."""
    while len(text.encode()) > size:
        text = text[:-1]
    return text.encode()
