"""Which recordings a call means: files, folders of them, and lists of them."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from pathlib import Path

from brakebeat.errors import InputError, reason
from brakebeat.samples import PREFIX

LIST_MARK = "@"
STANDARD_INPUT = "@-"
_SUFFIX = ".csv"


def is_many(argument: str) -> bool:
    """Whether a FILE of the command line stands for any number of recordings: a folder, or ``@LIST``."""
    return argument.startswith(LIST_MARK) or Path(argument).is_dir()


def named_recordings(arguments: Iterable[str]) -> list[str]:
    """The recordings that the arguments stand for, in their order, each once.

    A folder stands for every ``*.csv`` in it, however deep, by name; what begins with a dot is left out.
    ``@LIST`` is a text file with a recording a line, relative to the list's own folder; blank lines and such that
    begin with ``#`` are skipped; ``@-`` reads the list from standard input. Whether a recording can be read is
    seen when its turn comes.

    Raises ``InputError`` for a list that cannot be read, and where nothing is left.
    """
    found: dict[str, None] = {}
    for argument in arguments:
        if argument.startswith(LIST_MARK):
            some = _listed(argument)
        elif Path(argument).is_dir():
            some = _in_folder(Path(argument))
        else:
            some = [argument]
        found.update(dict.fromkeys(some))
    return list(found)


def _in_folder(folder: Path) -> list[str]:
    found: list[str] = []

    def refuse(error: OSError) -> None:
        raise InputError(f"{error.filename}: cannot be read ({error.strerror}); check the rights") from error

    for place, folders, files in os.walk(folder, onerror=refuse):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        names = (name for name in files if name.lower().endswith(_SUFFIX) and not name.startswith("."))
        found += [str(Path(place) / name) for name in names]
    if not found:
        raise InputError(f"{folder}: no recordings (*{_SUFFIX}) in this folder; name another one")
    return sorted(found)


def _listed(argument: str) -> list[str]:
    name = argument.removeprefix(LIST_MARK)
    beside = Path() if argument == STANDARD_INPUT else Path(name).parent
    try:
        data = sys.stdin.buffer.read() if argument == STANDARD_INPUT else Path(name).read_bytes()
        # Names on Linux are bytes: what is no UTF-8 comes back as it was when the file is opened.
        text = os.fsdecode(data.removeprefix(b"\xef\xbb\xbf"))
    except (OSError, ValueError) as error:
        raise InputError(
            f"{name}: the list cannot be read ({reason(error)}); check the name and the rights"
        ) from error
    lines = [line.strip() for line in text.splitlines()]
    named = [line for line in lines if line and not line.startswith("#")]
    if not named:
        raise InputError(f"{name}: no recordings in this list; write one name a line")
    if any("\0" in line for line in named):
        raise InputError(f"{name}: this is no list of recordings but binary; write one name a line")
    return [line if line.startswith(PREFIX) else str(beside / line) for line in named]
