"""Puts what was found into a rig file: on consent only, comments and all, the old file kept beside the new."""

from __future__ import annotations

import re
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomlkit

from brakebeat.errors import InputError
from brakebeat.formats.atomic import replacing
from brakebeat.formats.rig import read_rig


def update_rig(path: str | Path, values: Mapping[str, Any]) -> Path:
    """Set ``values`` in the rig file; every other line stays. Returns where the old file is now.

    Raises ``InputError`` where the file cannot be read or written, or would not be a rig any more; then the
    old one stays as it is.
    """
    target = Path(path)
    read_rig(target)
    text = target.read_text(encoding="utf-8-sig")
    for key, value in values.items():
        text = _with_value(text, key, value)
    kept = _free_name(target)
    with replacing(target) as unfinished:
        unfinished.write_text(text, encoding="utf-8")
        try:
            read_rig(unfinished)
        except InputError as error:
            raise InputError(str(error).replace(str(unfinished), str(target))) from error
        _keep(target, kept)
    return kept


def _with_value(text: str, key: str, value: Any) -> str:
    number = list(value) if isinstance(value, (list, tuple)) else value
    # Where the file said that it is not known yet, there the value belongs.
    unknown = re.compile(rf"^# {re.escape(key)} is not known yet$", re.MULTILINE)
    if unknown.search(text):
        item = tomlkit.document()
        item.add(key, number)
        return unknown.sub(lambda _: tomlkit.dumps(item).strip(), text, count=1)
    document = tomlkit.parse(text)
    if key in document:
        document[key] = number
        return tomlkit.dumps(document)
    item = tomlkit.document()
    item.add(key, number)
    # Before the first table: below it the key would be the table's.
    table = re.search(r"^\s*\[", text, re.MULTILINE)
    at = table.start() if table else len(text)
    head = text[:at] if not text[:at] or text[:at].endswith("\n") else text[:at] + "\n"
    return head + tomlkit.dumps(item) + text[at:]


def _free_name(target: Path) -> Path:
    number = 1
    while (kept := target.with_name(f"{target.name}.old-{number}")).exists():
        number += 1
    return kept


def _keep(target: Path, kept: Path) -> None:
    try:
        shutil.copy2(target, kept)
    except OSError as error:
        raise InputError(
            f"{kept}: the old file cannot be kept there ({error.strerror}); nothing was changed"
        ) from error
