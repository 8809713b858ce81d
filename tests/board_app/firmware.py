"""The firmware's modules that need no board, imported into the tests' own Python."""

import struct

from brakebeat.board.files import firmware_dir, firmware_importable
from brakebeat.board.layouts import name_everything

with firmware_importable():
    from brakebeat_fw import (
        access,
        cable,
        control,
        framing,
        journal,
        outbox,
        playback,
        radio,
        raw,
        region,
        rigfile,
        sounder,
        sources,
        standard,
        status,
        supply,
        wire,
    )

__all__ = [
    "access",
    "cable",
    "control",
    "framing",
    "journal",
    "outbox",
    "playback",
    "radio",
    "raw",
    "region",
    "rigfile",
    "sounder",
    "sources",
    "standard",
    "status",
    "supply",
    "wire",
]

name_everything(wire, (firmware_dir() / "brakebeat_fw" / "wire.py").read_text(encoding="utf-8"))


def packed_rep(index: int, fill: int = 0) -> bytes:
    """A rep record that carries ``index`` and is otherwise full of ``fill``."""
    record = bytearray([fill & 0xFF]) * wire.REP_SIZE
    struct.pack_into("<I", record, wire.field_offset(wire.REP_FIELDS, "index"), index)
    return bytes(record)


def command(code: int, payload: bytes = b"", tag: int = 0) -> bytes:
    """A sealed command."""
    head = struct.pack(wire.COMMAND_HEAD_FORMAT, code, tag, len(payload)) + payload
    return head + framing.checksum(head)
