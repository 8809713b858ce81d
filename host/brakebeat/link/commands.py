"""Commands as the host packs them and the board's answers, taken apart again."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from typing import Any

from brakebeat.board.files import load_wire
from brakebeat.link.reassembly import unseal


@dataclass(frozen=True)
class Answer:
    """A board's answer: the command's ``code`` and ``tag``, ``error`` 0 for done."""

    code: int
    tag: int
    error: int
    payload: bytes


@dataclass(frozen=True)
class Journal:
    """Which journal a board keeps: its records have sequence numbers from ``oldest`` up to before ``next``."""

    id: int
    oldest: int
    next: int


def pack_command(code: int, tag: int, payload: bytes = b"") -> bytes:
    """One command, sealed."""
    head = struct.pack(load_wire().COMMAND_HEAD_FORMAT, code, tag, len(payload))
    return head + payload + struct.pack("<I", zlib.crc32(head + payload))


def unpack_answer(message: bytes) -> Answer | None:
    """An answer; None where it is damaged or too short."""
    head_format = load_wire().ANSWER_HEAD_FORMAT
    opened = unseal(message)
    size = struct.calcsize(head_format)
    if opened is None or len(opened) < size:
        return None
    code, tag, error = struct.unpack_from(head_format, opened)
    return Answer(code, tag, error, opened[size:])


def unpack_journal(payload: bytes) -> tuple[int, Journal] | None:
    """HELLO's answer: the protocol version in common, the journal; None where it is too short."""
    values = _unpack(load_wire().HELLO_FORMAT, payload)
    return None if values is None else (values[0], Journal(*values[1:]))


def unpack_clock(payload: bytes) -> tuple[int, int] | None:
    """TIME's answer: (board_us, boot); None where it is too short."""
    return _unpack("<QH", payload)


def unpack_raw_start(payload: bytes) -> int | None:
    """RAW_START's answer: the board's clock in microseconds; None where it is too short."""
    values = _unpack("<Q", payload)
    return None if values is None else values[0]


def unpack_magnets(payload: bytes) -> tuple[int, int, list[float]] | None:
    """MAGNETS' answer: (magnets, reps learnt from, offsets in rad of some); None where it is too short."""
    values = _unpack("<BB", payload)
    if values is None:
        return None
    count = (len(payload) - 2) // 2
    return values[0], values[1], [units * 1e-4 for units in struct.unpack_from(f"<{count}h", payload, 2)]


def _unpack(layout: str, payload: bytes) -> Any:
    return struct.unpack_from(layout, payload) if len(payload) >= struct.calcsize(layout) else None
