"""Edges on disk as they come, in a part file beside the recording to be: a readable recording at any moment.

A crash or a lost process leaves it where it is (``recover`` makes a recording of it); a disk without room for a second
copy of everything leaves it as the recording itself.
"""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from brakebeat.errors import InputError, unreadable
from brakebeat.formats.atomic import real_place
from brakebeat.formats.edge_text import Steps, Times, format_block, parse_block
from brakebeat.formats.header import COLUMNS, header_text, read_header
from brakebeat.formats.recording import write_recording
from brakebeat.formats.unwrap import Unwrapper

_SUFFIX = ".part"
# Blanks behind the last header line, in whose place marks of missing edges go: a hundred holes take 3.5 KB at most.
_ROOM_BYTES = 4096
_COLUMN_LINE = f"\n{COLUMNS}\n".encode()
# Longer than any line of an edge.
_LINE_BYTES = 64


def part_of(path: Path) -> Path:
    """Where the part file of the recording at ``path`` lies. Raises InputError where links lead in a circle."""
    real = real_place(path)
    return real.with_name(real.name + _SUFFIX)


def look_for_unfinished(path: Path) -> None:
    """Say on standard error which other recordings in the folder of ``path`` have a part file.

    Raises InputError where one says that a recording at ``path`` never came to its end.
    """
    mine = part_of(path)
    if os.path.lexists(mine):
        raise InputError(
            f"{mine}: a recording to {path} that did not come to its end; `brakebeat record {path} --recover` makes "
            "a recording of what it holds. Or choose another name, if it is still being recorded"
        )
    for part in sorted(mine.parent.glob(f"*.csv{_SUFFIX}")):
        name = part.with_name(part.name.removesuffix(_SUFFIX))
        print(
            f"{part} is there: unless it is being recorded now, `brakebeat record {name} --recover` makes a "
            "recording of what it holds",
            file=sys.stderr,
        )


class PartFile:
    """Takes edges and keeps them in a file. What the disk does not take waits here and is tried again with the next.

    ``trouble``: why the disk does not take more; None where all that came is on it.
    """

    def __init__(self, target: Path, header: dict[str, str]) -> None:
        """``target``: the recording to be. ``header``: what it will say. Raises InputError where it cannot be said."""
        self.trouble: OSError | None = None
        self._target, self._header = target, header
        self.path = part_of(target)
        self._file: BinaryIO | None = None
        self._head_bytes = len(_without_column_line(header)) + _ROOM_BYTES
        self._waiting = bytearray(self._head({}))
        self._head_waits = len(self._waiting)
        self._edges = 0

    @property
    def unwritten(self) -> int:
        """Edges that the disk has not taken."""
        return self._edges if self._head_waits else self._waiting.count(b"\n")

    def add(self, t_us: Times, step: Steps) -> None:
        """Append edges: microseconds (n,) that go on from those before, and steps (n,)."""
        self._waiting += format_block(t_us, step)
        self._edges += t_us.size
        self._push()

    def mark(self, marks: dict[str, str]) -> None:
        """Say in the header that edges are missing."""
        head = self._head(marks)
        if self._file is None or self._head_waits:
            return
        try:
            self._file.seek(0)
            self._file.write(head)
            self._file.seek(0, os.SEEK_END)
        except OSError as error:
            self.trouble = error

    def settle(self) -> None:
        """Have the disk itself keep what it has taken, so that a power cut leaves it."""
        try:
            if self._file is not None:
                os.fsync(self._file.fileno())
        except OSError as error:
            self.trouble = error

    def finish(self, marks: dict[str, str]) -> int:
        """Make the part file the recording, as far as the disk takes it. Returns the number of edges in it.

        With none the part file is gone and there is no recording. Raises OSError where not even that goes; the part
        file stays then.
        """
        self._push()
        kept = self._edges - self.unwritten
        if self._file is None or not kept:
            self.discard()
            return 0
        if self._waiting:
            self._cut_half_a_line(self._file)
        self.mark(marks)
        self.settle()
        self._file.close()
        self.path.replace(real_place(self._target))
        return kept

    def discard(self) -> None:
        """Remove the part file: the recording is elsewhere."""
        if self._file is not None:
            self._file.close()
            self.path.unlink(missing_ok=True)

    def _push(self) -> None:
        try:
            if self._file is None:
                self._file = self.path.open("xb+", buffering=0)
            while self._waiting:
                taken = self._file.write(self._waiting)
                del self._waiting[:taken]
                self._head_waits = max(0, self._head_waits - taken)
            self.trouble = None
        except OSError as error:
            self.trouble = error

    def _cut_half_a_line(self, file: BinaryIO) -> None:
        end = file.seek(0, os.SEEK_END)
        begin = file.seek(max(0, end - _LINE_BYTES))
        file.truncate(begin + file.read(_LINE_BYTES).rfind(b"\n") + 1)

    def _head(self, marks: dict[str, str]) -> bytes:
        """Header and column line, as many bytes whatever ``marks`` say."""
        return _without_column_line({**self._header, **marks}).ljust(self._head_bytes) + _COLUMN_LINE


def _without_column_line(header: dict[str, str]) -> bytes:
    return header_text(header).encode().removesuffix(_COLUMN_LINE)


@dataclass(frozen=True)
class Recovered:
    """What was in a part file: ``edges`` in ``length_s``; ``damaged_bytes`` at its end could not be used."""

    edges: int
    length_s: float
    damaged_bytes: int


def recover(path: Path) -> Recovered:
    """Write the recording at ``path`` from its part file, up to where that is cut or damaged; then remove it.

    Raises InputError where there is none, or it holds no edge; it stays then.
    """
    part = part_of(path)
    header, text = _read(part)
    times, steps, _ = parse_block(text[: text.rfind(b"\n") + 1])
    times, _ = Unwrapper(None).unwrap(times)
    if not times.size:
        raise InputError(f"{part}: no edge is in it; remove it and record again")
    write_recording(path, times, steps[: times.size], header)
    part.unlink()
    line_ends = np.flatnonzero(np.frombuffer(text, np.uint8) == ord("\n"))
    damaged = len(text) - int(line_ends[times.size - 1]) - 1
    return Recovered(times.size, float(times[-1] - times[0]) * 1e-6, damaged)


def _read(part: Path) -> tuple[dict[str, str], bytes]:
    """Header and edges' text of a part file."""
    try:
        with part.open("rb") as stream:
            return read_header(stream, str(part)).values, stream.read()
    except OSError as error:
        raise unreadable(part, error) from error
    except InputError as error:
        raise InputError(
            f"{part}: no edge can be had from it ({error}); remove it and record again"
        ) from error
