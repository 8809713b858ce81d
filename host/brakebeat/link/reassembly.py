"""Puts the parts of a message together again and never hands out a wrong one."""

from __future__ import annotations

import struct
import zlib

from brakebeat.board.files import load_wire


class Reassembler:
    """Takes notifications in the order of arrival, gives whole messages; one for each connection.

    ``lost`` counts messages of which something never came, ``damaged`` parts that make no sense and messages
    whose seal does not fit.
    """

    def __init__(self) -> None:
        self.lost = 0
        self.damaged = 0
        self._wire = load_wire()
        self._number: int | None = None  # the message being put together
        self._settled: int | None = None  # the last one that is complete or given up
        self._parts: list[bytes] = []

    def feed(self, part: bytes | bytearray) -> bytes | None:
        """Take one notification; the whole message (seal checked and taken off) if it was the last part."""
        header = self._wire.PART_HEADER_SIZE
        if len(part) <= header:
            self.damaged += 1
            return None
        number, index = part[0], part[1] & self._wire.PART_INDEX_MASK
        if number != self._number:
            if number == self._settled:
                # A part that came twice, after its message was done.
                return None
            self._begin(number)
        if index < len(self._parts):
            return None
        if index > len(self._parts):
            self._give_up()
            return None
        self._parts.append(bytes(part[header:]))
        return self._finish() if part[1] & self._wire.PART_LAST else None

    def _begin(self, number: int) -> None:
        if self._number is not None:
            self._give_up()
        if self._settled is not None:
            # Numbers in between belong to messages of which nothing came at all. A jump back is no loss.
            skipped = (number - self._settled - 1) & 0xFF
            self.lost += skipped if skipped < 0x80 else 0
        self._number = number
        self._parts = []

    def _give_up(self) -> None:
        self.lost += 1
        self._settle()

    def _settle(self) -> None:
        self._settled, self._number = self._number, None
        self._parts = []

    def _finish(self) -> bytes | None:
        message = unseal(b"".join(self._parts))
        self._settle()
        if message is None:
            self.damaged += 1
        return message


def unseal(sealed: bytes | bytearray) -> bytes | None:
    """The message in front of its CRC-32, or None where the two do not fit."""
    size = load_wire().SEAL_SIZE
    message = bytes(sealed[:-size])
    if len(sealed) < size or sealed[-size:] != struct.pack("<I", zlib.crc32(message)):
        return None
    return message
