"""Messages as the radio carries them: sealed by a checksum, records cut into parts that fit a notification."""

import binascii
import struct

from . import wire


def checksum(data):
    # type: (bytes | bytearray | memoryview) -> bytes
    """The CRC-32 that seals ``data``, as it travels."""
    return struct.pack("<I", binascii.crc32(data) & 0xFFFFFFFF)


class Splitter:
    """Cuts one message at a time into numbered parts. ``busy`` while there is one."""

    def __init__(self):
        # type: () -> None
        self._message = b""
        self._offset = 0
        self._room = 0
        self._index = 0
        self._number = 255
        self.busy = False

    def load(self, message, mtu):
        # type: (bytes | bytearray | memoryview, int) -> None
        """Begin a sealed message (a new number), to be cut for an ATT MTU of ``mtu`` bytes."""
        self._message = bytes(message)
        # Of a notification 3 bytes are the protocol's, 2 the part's head.
        self._room = max(mtu, wire.DEFAULT_MTU) - 5
        self._offset = self._index = 0
        self._number = (self._number + 1) & 0xFF
        self.busy = True

    def part(self):
        # type: () -> bytes
        """The part now due. Asking again gives the same part."""
        content = self._message[self._offset : self._offset + self._room]
        last = wire.PART_LAST if self._offset + len(content) == len(self._message) else 0
        return bytes((self._number, self._index | last)) + content

    def advance(self):
        # type: () -> None
        """The part was taken: go to the next one."""
        self._offset += self._room
        self._index += 1
        self.busy = self._offset < len(self._message)
