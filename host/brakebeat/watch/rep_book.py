"""Fetched reps in a file of JSON lines, one a rep, each once: by the journal's id and the rep's number in it."""

from __future__ import annotations

import dataclasses
import datetime
import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from brakebeat.errors import InputError, reason
from brakebeat.formats.atomic import atomic_write
from brakebeat.link.events import Connected, Event, RecordsGone, RepArrived, TimeTold
from brakebeat.results import finite

_Key = tuple[int, int]


@dataclass
class Fetched:
    """Gathers what a board's journal holds: take its events, then ask for ``documents``."""

    board: str = ""
    reps: list[RepArrived] = field(default_factory=list)
    gone: list[RecordsGone] = field(default_factory=list)
    # Power-up -> (board_us, wall_us): what ties that power-up's clock to the calendar.
    _clocks: dict[tuple[int, int], tuple[int, int]] = field(default_factory=dict)

    def take(self, event: Event) -> None:
        """Note an event."""
        if isinstance(event, Connected):
            self.board = event.name
            self._clocks[event.journal_id, event.boot] = event.board_us, event.wall_us
        elif isinstance(event, TimeTold):
            self._clocks.setdefault((event.journal_id, event.boot), (event.board_us, event.wall_us))
        elif isinstance(event, RepArrived):
            self.reps.append(event)
        elif isinstance(event, RecordsGone):
            self.gone.append(event)

    def started(self, rep: RepArrived) -> datetime.datetime | None:
        """When a rep began, UTC; None where no host was near during that power-up of the board."""
        clock = self._clocks.get((rep.journal_id, rep.boot))
        if clock is None:
            return None
        wall_us = clock[1] + rep.rep.start_us - clock[0]
        try:
            return datetime.datetime.fromtimestamp(wall_us * 1e-6, datetime.UTC)
        except (OverflowError, ValueError, OSError):
            return None

    def documents(self) -> list[dict[str, Any]]:
        """The reps as they are kept and printed, in the order of their numbers."""
        return [self._document(rep) for rep in self.reps]

    def _document(self, event: RepArrived) -> dict[str, Any]:
        started = self.started(event)
        document: dict[str, Any] = finite(
            {
                "journal_id": event.journal_id,
                "sequence": event.sequence,
                "boot": event.boot,
                "board": self.board,
                "started": None if started is None else started.isoformat(timespec="milliseconds"),
                "rep": event.rep.to_document(),
                "cues": [dataclasses.asdict(cue) for cue in event.cues],
            }
        )
        return document


class RepBook:
    """A file of fetched reps. Reading it raises InputError naming file and line."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lines: list[str] = []
        self._keys: set[_Key] = set()
        if path.exists():
            self._read()

    def __len__(self) -> int:
        return len(self._lines)

    def _read(self) -> None:
        try:
            text = self._path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise InputError(f"{self._path}: cannot be read ({reason(error)}); name another file") from error
        for number, line in enumerate(text.splitlines(), 1):
            key = _key(line)
            if key is None:
                raise InputError(
                    f"{self._path}:{number}: no fetched rep (JSON with journal_id and sequence); mend or remove "
                    "the line, or name another file"
                )
            self._lines.append(line)
            self._keys.add(key)

    def next_numbers(self) -> dict[int, int]:
        """For each journal in the book the number after its greatest."""
        numbers: dict[int, int] = {}
        for journal_id, sequence in self._keys:
            numbers[journal_id] = max(numbers.get(journal_id, 0), sequence + 1)
        return numbers

    def add(self, documents: list[dict[str, Any]]) -> int:
        """Put reps in and write the file, whole or not at all; those that are there already stay once.

        Returns how many were new.
        """
        new = [one for one in documents if (one["journal_id"], one["sequence"]) not in self._keys]
        if new:
            self._lines += [json.dumps(one, allow_nan=False) for one in new]
            self._keys |= {(one["journal_id"], one["sequence"]) for one in new}
            with atomic_write(self._path) as stream:
                stream.write(("\n".join(self._lines) + "\n").encode())
        return len(new)


def _key(line: str) -> _Key | None:
    try:
        document = json.loads(line)
        key = document["journal_id"], document["sequence"]
    except (ValueError, TypeError, KeyError, RecursionError):
        return None
    return key if all(type(part) is int for part in key) else None
