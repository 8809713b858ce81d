"""Messages as the radio carries them: sealed by a checksum and cut into parts that fit a notification."""

import binascii
import struct

from . import wire


def seal(buffer, size):
    # type: (bytearray, int) -> None
    """Write the CRC-32 of the first ``size`` bytes behind them (``buffer`` holds SEAL_SIZE bytes more)."""
    struct.pack_into("<I", buffer, size, binascii.crc32(memoryview(buffer)[:size]) & 0xFFFFFFFF)


class Splitter:
    """Cuts one message at a time into numbered parts, in buffers of its own.

    largest: bytes of the longest message, seal not included.
    """

    def __init__(self, largest):
        # type: (int) -> None
        self._sealed = bytearray(largest + wire.SEAL_SIZE)
        self._part = bytearray(wire.PART_HEADER_SIZE + largest + wire.SEAL_SIZE)
        self._size = 0
        self._offset = 0
        self._room = 0
        self._index = 0
        self._number = 255

    def load(self, message, mtu):
        # type: (bytes | bytearray | memoryview, int) -> None
        """Begin a message (a new number), to be cut for an ATT MTU of ``mtu`` bytes."""
        size = len(message)
        self._sealed[:size] = message
        seal(self._sealed, size)
        self._size = size + wire.SEAL_SIZE
        self._room = max(mtu, wire.DEFAULT_MTU) - wire.NOTIFY_OVERHEAD - wire.PART_HEADER_SIZE
        self._offset = 0
        self._index = 0
        self._number = (self._number + 1) & 0xFF

    def part(self):
        # type: () -> memoryview
        """The part now due; valid until the next call. Asking again gives the same part."""
        length = min(self._room, self._size - self._offset)
        last = wire.PART_LAST if self._offset + length == self._size else 0
        self._part[0] = self._number
        self._part[1] = self._index | last
        end = wire.PART_HEADER_SIZE + length
        self._part[wire.PART_HEADER_SIZE : end] = memoryview(self._sealed)[
            self._offset : self._offset + length
        ]
        return memoryview(self._part)[:end]

    def advance(self):
        # type: () -> bool
        """The part was taken: go to the next one. False when that was the last."""
        self._offset += self._room
        self._index += 1
        return self._offset < self._size
