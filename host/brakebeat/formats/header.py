"""The head of a pulse recording: `# key: value` lines, the version among them, then the column line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import BinaryIO

from brakebeat.errors import InputError
from brakebeat.formats.edge_text import shorten

VERSION_KEY = "brakebeat-pulses"
VERSION = "1"
COLUMNS = "t_us,step"
# Keys that mark a recording from which edges are missing; absent where none is.
LOST_KEY = "edges_lost"
HOLES_KEY = "holes_us"

LONGEST_LINE = 64 * 1024
_MOST_LINES = 1000


@dataclass
class Header:
    """``values`` as written, in order, without the version; ``lines`` has each key's line, counted from 1."""

    values: dict[str, str] = field(default_factory=dict)
    lines: dict[str, int] = field(default_factory=dict)
    # Number of the column line; the edges begin on the next one.
    column_line: int = 0


def read_header(stream: BinaryIO, path: str) -> Header:
    """Read up to and with the column line. Raises ``InputError`` naming file and line."""
    header = Header()
    version_seen = False
    number = 0
    while True:
        raw = stream.readline(LONGEST_LINE + 1)
        number += 1
        place = f"{path}:{number}"
        if not raw:
            raise InputError(_ended_early(place, header, version_seen, number))
        line = _decode(raw, place, first=number == 1)
        if number > _MOST_LINES:
            raise InputError(
                f"{place}: {_MOST_LINES} lines and no column line `{COLUMNS}`; add it or cut the header"
            )
        if not line:
            continue
        if not line.startswith("#"):
            _check_column_line(line, place, version_seen)
            header.column_line = number
            return header
        key, value = _key_and_value(line, place)
        if key == VERSION_KEY:
            _check_version(value, place, version_seen)
            version_seen = True
        elif key in header.values:
            raise InputError(
                f"{place}: {key!r} stands a second time (first on line {header.lines[key]}); keep one"
            )
        else:
            header.values[key] = value
            header.lines[key] = number


def header_text(values: Mapping[str, str]) -> str:
    """The head of a recording, version first, column line last.

    Raises ``InputError`` for a key or value that would not come back from the file as it is.
    """
    if len(values) > _MOST_LINES - 2:
        raise InputError(
            f"{len(values)} header keys are too many to be read back ({_MOST_LINES} lines); leave some out"
        )
    lines = [f"# {VERSION_KEY}: {VERSION}"]
    for key, value in values.items():
        line = f"# {key}: {value}"
        if not _comes_back(line, key, value):
            raise InputError(
                f"header key {key!r} with value {shorten(value)} cannot be written: a key has no colon, is "
                f"not {VERSION_KEY!r}, and neither has line breaks, control characters or blanks at its ends"
            )
        if len(line.encode()) > LONGEST_LINE - 2:
            raise InputError(f"header key {key!r}: the value is longer than {LONGEST_LINE} bytes; shorten it")
        lines.append(line)
    return "\n".join([*lines, COLUMNS, ""])


def _comes_back(line: str, key: str, value: str) -> bool:
    try:
        line.encode()
        same = _key_and_value(line, "header") == (key, value)
    except (UnicodeEncodeError, InputError):
        return False
    return same and key != VERSION_KEY and not _has_control_characters(line)


def _decode(raw: bytes, place: str, first: bool) -> str:
    if first and raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise InputError(f"{place}: UTF-16 text, not UTF-8; save the file again as UTF-8")
    if len(raw) > LONGEST_LINE:
        raise InputError(f"{place}: a line longer than {LONGEST_LINE} bytes; this is no pulse recording")
    try:
        line = raw.decode("utf-8-sig" if first else "utf-8")
    except UnicodeDecodeError as error:
        raise InputError(f"{place}: not UTF-8 text; save the file again as UTF-8") from error
    line = line.removesuffix("\n").removesuffix("\r").strip(" \t")
    if _has_control_characters(line):
        raise InputError(f"{place}: control characters (NUL or the like) in the header; the file is damaged")
    return line


def _has_control_characters(text: str) -> bool:
    return any((char < " " and char != "\t") or char == "\x7f" for char in text)


def _key_and_value(line: str, place: str) -> tuple[str, str]:
    key, colon, value = line[1:].partition(":")
    key = key.strip(" \t")
    if not colon or not key:
        raise InputError(f"{place}: {shorten(line)} is not `# key: value`; write it so or remove the line")
    return key, value.strip(" \t")


def _check_version(value: str, place: str, seen: bool) -> None:
    if value != VERSION:
        raise InputError(
            f"{place}: version {shorten(value)} of the recording format is unknown; this brakebeat reads "
            f"version {VERSION}: update it, or record again"
        )
    if seen:
        raise InputError(f"{place}: {VERSION_KEY!r} stands a second time; keep one")


def _check_column_line(line: str, place: str, version_seen: bool) -> None:
    if not version_seen:
        raise InputError(
            f"{place}: no line `# {VERSION_KEY}: {VERSION}` above this one; is this a pulse recording?"
        )
    names = [name.strip() for name in line.split(",")]
    if names == COLUMNS.split(","):
        return
    missing = [name for name in COLUMNS.split(",") if name not in names]
    if missing and any(name in names for name in COLUMNS.split(",")):
        raise InputError(f"{place}: column {missing[0]!r} is missing; the columns are exactly `{COLUMNS}`")
    raise InputError(
        f"{place}: {shorten(line)} stands where the column line belongs; put `{COLUMNS}` between the header "
        "and the edges"
    )


def _ended_early(place: str, header: Header, version_seen: bool, number: int) -> str:
    if number == 1:
        return f"{place}: the file is empty; record again"
    if not version_seen and not header.values:
        return f"{place}: nothing but blank lines; record again"
    return f"{place}: the file ends before the column line `{COLUMNS}`; it is cut, record again"
