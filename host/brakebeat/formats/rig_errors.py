"""Says in plain words what is wrong with a rig: place, key, value, what it must be, what to do."""

from __future__ import annotations

import difflib
import re
import types
import typing
from collections.abc import Callable
from typing import Any, Literal

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from brakebeat.formats.rig_model import Board, Cues, Rig

TABLES: dict[str, type[BaseModel]] = {"cues": Cues, "board": Board}
_TYPE_NAMES: dict[Any, str] = {int: "a whole number", float: "a number", bool: "true or false", str: "text"}
_LONGEST_VALUE = 60

# (key as in "cues.late_cue") -> where it stands, such as "rig.toml:12"
Locate = Callable[[str], str]


def explain(error: ValidationError, locate: Locate) -> str:
    """Every fault of a rig, a line each."""
    return "\n".join(_sentence(fault, locate) for fault in error.errors(include_url=False))


def known_keys() -> dict[str, FieldInfo]:
    """Every key of a rig with its field; those of a table as ``table.key``."""
    keys = {name: field for name, field in Rig.model_fields.items() if name not in TABLES}
    for table, model in TABLES.items():
        keys.update({f"{table}.{name}": field for name, field in model.model_fields.items()})
    return keys


def suggestion(key: str) -> str:
    """``did you mean …?`` for an unknown key, or where to find the list."""
    keys = list(known_keys())
    by_last_word = {known.rpartition(".")[2]: known for known in keys}
    last_word = key.rpartition(".")[2]
    close = difflib.get_close_matches(key, keys, 1, 0.7)
    if not close:
        close = [by_last_word[word] for word in difflib.get_close_matches(last_word, by_last_word, 1, 0.7)]
    if close:
        return f"did you mean {close[0]!r}?"
    return "correct or remove it (the known ones: " + ", ".join(keys) + ")"


def describe(field: FieldInfo) -> str:
    """What a field's value must be: type, range, unit, meaning."""
    extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
    unit = f" {extra['unit']}" if extra.get("unit") else ""
    return f"{_expected_type(field.annotation)}{_range(field)}{unit} ({field.description})"


def comment(field: FieldInfo) -> str:
    """The line above a key in a written file: meaning, then what the value must be."""
    meaning, wanted = field.description or "", describe(field).partition(" (")[0]
    return f"{meaning}: {wanted}"


def _sentence(fault: ErrorDetails, locate: Locate) -> str:
    key, inner = _split_place(fault["loc"])
    place = locate(key)
    field = known_keys().get(key)
    kind = fault["type"]
    if kind == "extra_forbidden":
        return f"{place}: unknown key {key!r}; {suggestion(key)}"
    if kind == "missing" and field is not None:
        return f"{place}: {key} is missing; add it: {describe(field)}"
    shown = _shorten(fault["input"])
    if kind == "value_error":
        reason = str(fault["ctx"]["error"])
        return (
            f"{place}: {key}: {reason}"
            if isinstance(fault["input"], dict)
            else f"{place}: {key} = {shown}: {reason}"
        )
    if field is None:
        return f"{place}: {key} = {shown}: must be a table, written [{key}] with its keys below"
    item = f" (item {inner})" if inner is not None else ""
    return f"{place}: {key} = {shown}{item}: must be {describe(field)}"


def _split_place(loc: tuple[int | str, ...]) -> tuple[str, int | None]:
    names = [part for part in loc if isinstance(part, str)]
    # pydantic names the inner branch of a union or a constraint too: only keys of ours count.
    depth = 2 if names and names[0] in TABLES else 1
    inner = next((part for part in loc if isinstance(part, int)), None)
    return ".".join(names[:depth]), inner


def _shorten(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= _LONGEST_VALUE else text[: _LONGEST_VALUE - 1] + "…"


def _expected_type(annotation: Any) -> str:
    origin = typing.get_origin(annotation)
    if origin is typing.Annotated:
        return _expected_type(typing.get_args(annotation)[0])
    if origin in (typing.Union, types.UnionType):
        return _expected_type(next(a for a in typing.get_args(annotation) if a is not type(None)))
    if origin is Literal:
        return "one of " + ", ".join(repr(word) for word in typing.get_args(annotation))
    if origin is tuple:
        return "a list of numbers"
    return _TYPE_NAMES.get(annotation, "of another kind")


def _range(field: FieldInfo) -> str:
    limits = {}
    for name in ("ge", "le", "min_length", "max_length"):
        for source in (*field.metadata, *_inner_metadata(field.annotation)):
            if getattr(source, name, None) is not None:
                limits[name] = getattr(source, name)
    if "ge" in limits:
        return f" from {_figure(limits['ge'])} to {_figure(limits['le'])}"
    if "max_length" in limits:
        return f" of {limits['min_length']} to {limits['max_length']} characters"
    return ""


def _inner_metadata(annotation: Any) -> list[Any]:
    found: list[Any] = []
    for part in typing.get_args(annotation):
        if typing.get_origin(part) is typing.Annotated:
            for item in typing.get_args(part)[1:]:
                found.extend(getattr(item, "metadata", [item]))
    return found


def _figure(value: float) -> str:
    return str(value) if isinstance(value, int) else f"{value:g}"


def key_line_numbers(text: str) -> dict[str, int]:
    """1-based line of each ``key =`` in a TOML text, as ``key`` or ``table.key``; tables under their name.

    Good enough to point at a line: a key inside a multi-line string may be listed too.
    """
    lines: dict[str, int] = {}
    table = ""
    for number, line in enumerate(text.splitlines(), 1):
        header = re.match(r"\s*\[\s*([^\[\]]+?)\s*\]", line)
        if header:
            table = header[1] + "."
            lines.setdefault(header[1], number)
            continue
        assignment = re.match(r"""\s*("[^"]*"|'[^']*'|[^\s=#"']+)\s*=""", line)
        if assignment:
            lines.setdefault(table + assignment[1].strip("\"'"), number)
    return lines
