"""What the targets have in common: bytes cut into messages, sealed, put into files; the board's files, imported."""

from __future__ import annotations

import functools
import importlib
import struct
import tempfile
import types
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from brakebeat.board.files import firmware_importable
from brakebeat.errors import InputError

LONGEST_LINE_OF_CABLE = 400


def sealed(message: bytes) -> bytes:
    """A message with the CRC-32 that seals it."""
    return message + struct.pack("<I", zlib.crc32(message))


def pieces(data: bytes) -> Iterator[bytes]:
    """Data as messages: a byte of length, then so many bytes."""
    at = 0
    while at < len(data):
        size = data[at]
        yield data[at + 1 : at + 1 + size]
        at += 1 + size


@functools.cache
def scratch() -> Path:
    """A folder for what this process writes."""
    folder = tempfile.TemporaryDirectory(prefix="brakebeat-fuzz-")
    keep.append(folder)
    return Path(folder.name)


# What lives until the process ends.
keep: list[Any] = []


def file(name: str, data: bytes) -> Path:
    """A file of that name with these bytes."""
    path = scratch() / name
    path.write_bytes(data)
    return path


def must_name(error: InputError, name: str) -> None:
    """Raises AssertionError where a refusal does not name the file."""
    if name not in str(error):
        raise AssertionError(f"a refusal that does not name the file: {error}")


@functools.cache
def firmware(name: str) -> types.ModuleType:
    """One of the board's files, imported here."""
    with firmware_importable():
        return importlib.import_module(f"brakebeat_fw.{name}")
