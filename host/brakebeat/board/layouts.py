"""Names, numbers and words of the byte layouts, read from the text of the firmware's ``wire.py``.

Boards carry bare formats; what the fields are called stands in comments, which cost a board nothing.
"""

from __future__ import annotations

import re
import struct
from dataclasses import dataclass
from types import ModuleType

# What a notification costs of the ATT MTU (opcode and handle: Bluetooth Core, Vol 3 Part F, 3.4.7.1).
NOTIFY_OVERHEAD = 3
PART_HEADER_SIZE = 2
PART_INDEX_MASK = 0x7F
MAX_PARTS = 128
SEAL_SIZE = 4

_TABLE = re.compile(r"^(\w+) = \(\n(.*?)^\)$", re.MULTILINE | re.DOTALL)
_FIELD = re.compile(r'^    "(\w+)"  # (\w+)(?:: (.*))?$', re.MULTILINE)
_NUMBER = re.compile(r"^# (RECORD|STATE|COMMAND|ERROR) (\d+) (\w+): (.*)$", re.MULTILINE)
_CONSTANT = re.compile(r"^(FLAG_\w+) = (\d+)$", re.MULTILINE)
_CHOICE = re.compile(r"\b(\d+) (\w+)")


@dataclass(frozen=True)
class Field:
    """One field of a layout: its struct code and what it means (may be empty)."""

    name: str
    code: str
    meaning: str


@dataclass(frozen=True)
class Number:
    """A number with a name: a command's code, an error, a bit."""

    group: str
    value: int
    name: str
    meaning: str


def tables(text: str) -> dict[str, tuple[Field, ...]]:
    """Every table of ``wire.py`` by name (``REP_FORMAT``, ``UUID_DIGITS``, …), in the file's order."""
    found = {}
    for name, body in _TABLE.findall(text):
        found[name] = tuple(Field(field, code, meaning) for code, field, meaning in _FIELD.findall(body))
    return found


def numbers(text: str) -> list[Number]:
    """Every numbered name in the comments of ``wire.py``."""
    return [Number(group, int(value), name, meaning) for group, value, name, meaning in _NUMBER.findall(text)]


def choices(field: Field) -> dict[int, str]:
    """The values of a field whose meaning lists them ("0 early, 1 inside")."""
    return {int(value): name for value, name in _CHOICE.findall(field.meaning)}


def layout_format(fields: tuple[tuple[str, str], ...]) -> str:
    """The struct format of (name, code) pairs: little-endian, no padding."""
    return "<" + "".join(code for _, code in fields)


def field_offset(fields: tuple[tuple[str, str], ...], name: str) -> int:
    """Bytes in front of field ``name`` in a layout of (name, code) pairs."""
    names = [field for field, _ in fields]
    return struct.calcsize(layout_format(fields[: names.index(name)]))


def name_everything(wire: ModuleType, text: str) -> None:
    """Give a loaded ``wire`` the names that only the host needs.

    For each ``X_FORMAT`` it gets ``X_FIELDS``, (name, code) pairs, and ``X_SIZE``; for each digit ``X_UUID``; for
    each numbered name ``GROUP_NAME``, and ``GROUP_NAMES`` by value; ``TIMING_NAMES``, ``PHASE_NAMES``
    and ``FLAG_NAMES``; and the sizes of this module.
    """
    named: dict[str, object] = {
        "NOTIFY_OVERHEAD": NOTIFY_OVERHEAD,
        "PART_HEADER_SIZE": PART_HEADER_SIZE,
        "PART_INDEX_MASK": PART_INDEX_MASK,
        "MAX_PARTS": MAX_PARTS,
        "SEAL_SIZE": SEAL_SIZE,
        "layout_format": layout_format,
        "field_offset": field_offset,
    }
    found = tables(text)
    for table, fields in found.items():
        name = table.removesuffix("_FORMAT")
        if table == "UUID_DIGITS":
            named |= {f"{field.name}_UUID": wire.UUID % field.code for field in fields}
        elif name != table:
            pairs = tuple((field.name, field.code) for field in fields)
            named |= {f"{name}_FIELDS": pairs, f"{name}_SIZE": struct.calcsize(layout_format(pairs))}
    groups: dict[str, dict[int, str]] = {}
    for number in numbers(text):
        named[f"{number.group}_{number.name}"] = number.value
        groups.setdefault(number.group, {})[number.value] = number.name.lower()
    named |= {f"{group}_NAMES": values for group, values in groups.items()}
    named |= _words(text, found)
    for name, value in named.items():
        setattr(wire, name, value)


def _words(text: str, found: dict[str, tuple[Field, ...]]) -> dict[str, object]:
    fields = {field.name: field for table in found.values() for field in table}
    constants = [(name, int(value)) for name, value in _CONSTANT.findall(text)]
    timing = choices(fields["timing"])
    return {
        "TIMING_NAMES": {value: name for value, name in timing.items() if name != "unknown"},
        "PHASE_NAMES": tuple(choices(fields["phase"]).values()),
        "FLAG_NAMES": tuple(
            (value, name[5:].lower()) for name, value in constants if name != "FLAG_MOMENTUM"
        ),
    }
