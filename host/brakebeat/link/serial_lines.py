"""Messages as lines of text on a serial line: `$`, a letter for the channel, base64 of payload and CRC-32, newline.

A console prints on the same line: what is no such line, or a damaged one, is skipped.
"""

from __future__ import annotations

import base64
import binascii
import struct
import zlib

from brakebeat.link.transport import Channel

_LETTERS = {
    Channel.REP: b"R",
    Channel.LIVE: b"L",
    Channel.RAW: b"W",
    Channel.STATUS: b"S",
    Channel.CONTROL: b"C",
}
_CHANNELS = {letter: channel for channel, letter in _LETTERS.items()}
_BOOT = b"B"
_LONGEST_LINE = 4096


def pack_line(channel: Channel, payload: bytes) -> bytes:
    """One message as a line."""
    letter = _LETTERS[channel]
    seal = struct.pack("<I", zlib.crc32(letter + payload))
    return b"$" + letter + base64.b64encode(payload + seal) + b"\n"


def unpack_line(line: bytes) -> tuple[Channel, bytes] | None:
    """The message in a line (its end may stand or not); None where there is none, or a damaged one."""
    channel = _CHANNELS.get(line.strip()[1:2])
    payload = None if channel is None else _payload(line)
    return None if channel is None or payload is None else (channel, payload)


def unpack_boot(line: bytes) -> bytes | None:
    """The status that a board prints as it starts, before any host has said anything; None in any other line."""
    return _payload(line) if line.strip()[1:2] == _BOOT else None


def _payload(line: bytes) -> bytes | None:
    line = line.strip()
    if line[:1] != b"$":
        return None
    try:
        sealed = base64.b64decode(line[2:], validate=True)
    except binascii.Error:
        return None
    payload = sealed[:-4]
    if len(sealed) < 4 or sealed[-4:] != struct.pack("<I", zlib.crc32(line[1:2] + payload)):
        return None
    return payload


class LineReader:
    """Cuts what comes in into lines and gives the messages among them. ``skipped`` counts other lines."""

    def __init__(self) -> None:
        self.skipped = 0
        self._rest = b""

    def feed(self, data: bytes) -> list[tuple[Channel, bytes]]:
        """The messages that are complete with ``data``, in order."""
        *lines, self._rest = (self._rest + data).split(b"\n")
        # Something that never ends is no text; do not keep it for ever.
        self._rest = self._rest[-_LONGEST_LINE:]
        messages = []
        for line in lines:
            # A console's prompt may stand in front of a message.
            message = unpack_line(line[max(0, line.rfind(b"$")) :])
            if message is None:
                self.skipped += 1
            else:
                messages.append(message)
        return messages
