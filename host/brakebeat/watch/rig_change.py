"""A changed rig file: values set in its text, comments and order kept; and the text that goes onto a board."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import tomlkit
from pydantic import ValidationError

from brakebeat.errors import InputError
from brakebeat.formats.rig import Rig, read_rig
from brakebeat.formats.rig_errors import explain


def changed_rig(path: Path, changes: dict[str, Any]) -> tuple[Rig, bytes]:
    """The rig in file ``path`` with top-level values ``changes``, and the file's text with them.

    Raises:
        InputError: the file is wrong, or the values do not go together.
    """
    rig = read_rig(path)
    text = path.read_bytes()
    if not changes:
        return rig, text
    document = tomlkit.parse(text.decode("utf-8-sig"))
    for key, value in changes.items():
        document[key] = value
    try:
        changed = Rig.model_validate({**rig.model_dump(exclude_unset=True), **changes})
    except ValidationError as error:
        raise InputError(explain(error, lambda _key: str(path))) from error
    return changed, tomlkit.dumps(document).encode()


def board_text(text: bytes) -> bytes:
    """A rig file without its comment lines and blank lines: a board has no use for them, and radio is slow."""
    lines = [line.strip() for line in text.decode("utf-8-sig").splitlines()]
    return "".join(f"{line}\n" for line in lines if line and not line.startswith("#")).encode()
