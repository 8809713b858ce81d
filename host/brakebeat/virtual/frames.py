"""Frames between the stand-in `bluetooth` module and the virtual radio: length, kind, payload."""

from __future__ import annotations

import asyncio
import struct

LARGEST = 0xFFFF


async def read_frame(reader: asyncio.StreamReader) -> tuple[str, bytes] | None:
    """The next frame as (kind, payload); None at the end, even in mid-frame (a killed firmware)."""
    try:
        (length,) = struct.unpack("<H", await reader.readexactly(2))
        frame = await reader.readexactly(length)
    except (asyncio.IncompleteReadError, ConnectionError):
        return None
    return chr(frame[0]), frame[1:]


def frame(kind: str, payload: bytes = b"") -> bytes:
    """One frame, ready to be written."""
    return struct.pack("<HB", len(payload) + 1, ord(kind)) + payload
