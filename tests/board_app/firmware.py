"""The firmware's modules that need no board, imported into the tests' own Python."""

import sys

from brakebeat.board.files import firmware_dir

sys.path.append(str(firmware_dir()))

from brakebeat_fw import framing, outbox, playback, radio, sounder, sources, status, wire

__all__ = ["framing", "outbox", "playback", "radio", "sounder", "sources", "status", "wire"]


def packed_rep(index: int, fill: int = 0) -> bytes:
    """A rep record that carries ``index`` and is otherwise full of ``fill``."""
    record = bytearray([fill & 0xFF]) * wire.REP_SIZE
    offset = wire.field_offset(wire.REP_FIELDS, "index")
    record[offset : offset + 4] = index.to_bytes(4, "little")
    return bytes(record)
