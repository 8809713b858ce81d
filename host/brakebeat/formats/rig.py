"""Reads and writes `rig.toml`, and takes a rig from a recording's header."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import tomlkit
from pydantic import ValidationError
from tomlkit.exceptions import TOMLKitError

from brakebeat.errors import InputError, unreadable
from brakebeat.formats.atomic import atomic_write
from brakebeat.formats.rig_errors import TABLES, comment, explain, key_line_numbers, known_keys
from brakebeat.formats.rig_model import BRAKE_PRESETS, Board, Cues, Rig

__all__ = ["BRAKE_PRESETS", "Board", "Cues", "Rig", "read_rig", "rig_from_header", "write_rig"]

# A rig file is a page of text; anything bigger is some other file.
_LARGEST_RIG_FILE = 256 * 1024

# Keys of a rig that a recording's header may hold; any other is the recorder's own, a `name` too.
HEADER_KEYS = known_keys().keys() - {"name"}

_CAUTION = (
    "One rig, for the board and the host: lengths in m, inertia in kg·m², angles in rad.",
    'Plain lines only (numbers, "text", true/false, [lists, of, numbers]): the board reads this file too.',
    "Take the strap off and let the wheel stop before you touch wheel, sensor or wires.",
)


def read_rig(path: str | os.PathLike[str]) -> Rig:
    """The rig that a `rig.toml` describes.

    Raises ``InputError`` with one line for each fault: file, line, key, value, what to do.
    """
    text = _read_text(path)
    try:
        values = tomlkit.parse(text).unwrap()
    except (TOMLKitError, ValueError, RecursionError) as error:
        raise InputError(_not_toml(path, error)) from error
    lines = key_line_numbers(text)

    def locate(key: str) -> str:
        line = lines.get(key) or lines.get(key.partition(".")[0])
        return f"{path}:{line}" if line else str(path)

    return _validated(values, locate)


def rig_from_header(
    header: Mapping[str, str],
    path: str = "<memory>",
    lines: Mapping[str, int] | None = None,
    pulses_per_rev: int | None = None,
) -> Rig:
    """The rig that a recording's header states; other keys of the header are left alone.

    ``lines`` gives each key's line number for the messages; ``pulses_per_rev`` stands in where the header
    has none. Raises ``InputError`` naming file, line, key and value.
    """
    numbers = lines or {}
    values: dict[str, Any] = {} if pulses_per_rev is None else {"pulses_per_rev": pulses_per_rev}
    for key, text in header.items():
        if key not in HEADER_KEYS:
            continue
        table, dot, inner = key.partition(".")
        place = values.setdefault(table, {}) if dot else values
        place[inner if dot else key] = _header_value(text)

    def locate(key: str) -> str:
        # What is missing is missing by the end of the header.
        line = numbers.get(key) or max(numbers.values(), default=None)
        return f"{path}:{line}" if line else path

    return _validated(values, locate)


def write_rig(
    path: str | os.PathLike[str], rig: Rig, comments: Mapping[str, str] | None = None, title: str = ""
) -> None:
    """Write ``rig`` as a commented `rig.toml`, whole or not at all.

    Every value is spelt out, unknown ones as a comment. ``comments`` (key -> text) replaces a key's comment.
    Keeps to the subset of TOML that the board reads. Raises ``InputError`` where it cannot be written.
    """
    notes = comments or {}
    document = tomlkit.document()
    for line in ((title,) if title else ()) + _CAUTION:
        document.add(tomlkit.comment(line))
    document.add(tomlkit.nl())
    values = rig.model_dump()
    tables = {name: values.pop(name) for name in TABLES}
    _fill(document, "", values, notes)
    for name, content in tables.items():
        table = tomlkit.table()
        _fill(table, f"{name}.", content, notes)
        document.add(name, table)
    with atomic_write(path) as stream:
        stream.write(tomlkit.dumps(document).encode())


def _fill(container: Any, prefix: str, values: Mapping[str, Any], notes: Mapping[str, str]) -> None:
    fields = known_keys()
    for key, value in values.items():
        note = notes.get(prefix + key, comment(fields[prefix + key]))
        container.add(tomlkit.comment(note.replace("\n", " ")))
        if value is None:
            container.add(tomlkit.comment(f"{key} is not known yet"))
        else:
            container.add(key, list(value) if isinstance(value, tuple) else value)


def _validated(values: dict[str, Any], locate: Callable[[str], str]) -> Rig:
    try:
        return Rig.model_validate(values)
    except ValidationError as error:
        raise InputError(explain(error, locate)) from error


def _read_text(path: str | os.PathLike[str]) -> str:
    try:
        with Path(path).open("rb") as stream:
            data = stream.read(_LARGEST_RIG_FILE + 1)
    except OSError as error:
        raise unreadable(path, error) from error
    if len(data) > _LARGEST_RIG_FILE:
        raise InputError(f"{path}: too big for a rig file ({_LARGEST_RIG_FILE} bytes at most); wrong file?")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError(f"{path}:{line}: not UTF-8 text; save the file again as UTF-8") from error


def _not_toml(path: str | os.PathLike[str], error: Exception) -> str:
    line = getattr(error, "line", None)
    place = f"{path}:{line}" if line else str(path)
    reason = re.sub(r" at line \d+ col \d+$", "", str(error))
    return (
        f'{place}: not TOML ({reason}); each line is `key = value`, text in "quotes", decimals with a point'
    )


def _header_value(text: str) -> Any:
    """A header's text as the plain value that a rig file would hold; text that is none stays text."""
    if text in ("true", "false"):
        return text == "true"
    if len(text) <= 40:
        if re.fullmatch(r"[+-]?[0-9]+", text):
            return int(text)
        if re.fullmatch(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?|[+-]?(nan|inf)", text, re.ASCII):
            return float(text)
    if text.startswith("[") and text.endswith("]"):
        return [_header_value(item.strip()) for item in text[1:-1].split(",") if item.strip()]
    return text
