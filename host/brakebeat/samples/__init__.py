"""Sample recordings that come with the package, for trying `replay` and `check` before owning a rig.

Where a command takes a recording, ``sample:NAME`` stands for one of these.
"""

from __future__ import annotations

import difflib
import os
import shutil
from dataclasses import dataclass
from pathlib import Path

from brakebeat.errors import InputError
from brakebeat.formats.atomic import replacing

FOLDER = Path(__file__).parent
PREFIX = "sample:"
# The header key in which each sample says what it shows.
SHOWS_KEY = "shows"


@dataclass(frozen=True)
class Sample:
    """One sample recording: its name, what it shows, where it is."""

    name: str
    shows: str
    path: Path


def samples() -> list[Sample]:
    """Every sample, by name."""
    from brakebeat.formats.recording import open_recording

    found = []
    for path in sorted(FOLDER.glob("*.csv")):
        with open_recording(path) as recording:
            found.append(Sample(path.stem, recording.header.get(SHOWS_KEY, ""), path))
    return found


def find(name: str) -> Path:
    """The path of the sample called ``name``. Raises ``InputError`` with a suggestion where there is none."""
    names = [path.stem for path in sorted(FOLDER.glob("*.csv"))]
    if name in names:
        return FOLDER / f"{name}.csv"
    close = difflib.get_close_matches(name, names, 1)
    hint = f"did you mean {PREFIX}{close[0]}?" if close else "the samples are " + ", ".join(names)
    raise InputError(f"{PREFIX}{name}: no such sample; {hint}")


def resolve(argument: str | os.PathLike[str]) -> Path:
    """The file that a command's FILE stands for: a sample for ``sample:NAME``, else the path itself."""
    text = os.fspath(argument)
    return find(text.removeprefix(PREFIX)) if text.startswith(PREFIX) else Path(text)


def copy_out(folder: str | os.PathLike[str]) -> list[Path]:
    """Copy every sample into ``folder``, made where it is missing; returns the copies.

    A file that is already there is left alone and is an ``InputError``, before anything is copied.
    """
    target = Path(folder)
    pairs = [(sample.path, target / sample.path.name) for sample in samples()]
    taken = [str(copy) for _, copy in pairs if copy.exists()]
    if taken:
        raise InputError(f"{', '.join(taken)}: already there; choose another folder or move them away")
    try:
        target.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{target}: cannot be written ({error.strerror}); choose another folder") from error
    for source, copy in pairs:
        with replacing(copy) as unfinished:
            shutil.copyfile(source, unfinished)
    return [copy for _, copy in pairs]
