"""Where events are shown: a live table on a terminal, else plain lines, or JSON lines for programs."""

from __future__ import annotations

import contextlib
import dataclasses
import json
import sys
from collections.abc import Iterator, Sequence
from typing import Any, Protocol

from rich.console import Console

from brakebeat.link.events import (
    CaughtUp,
    EdgesArrived,
    Event,
    LiveArrived,
    RepArrived,
    StatusArrived,
    TimeTold,
)
from brakebeat.link.several import Ended
from brakebeat.results import finite
from brakebeat.watch import plain
from brakebeat.watch.board_view import BoardView
from brakebeat.watch.live_check import RepChecked
from brakebeat.watch.table import LiveTable

Shown = Event | Ended | RepChecked
# What happens all the time and is no news.
_QUIET = (LiveArrived, StatusArrived, CaughtUp, TimeTold, EdgesArrived)


class Screen(Protocol):
    """Shows an event, which its board's view has taken already."""

    def show(self, event: Shown, board: BoardView) -> None: ...


class PlainScreen:
    """A line for each event; the board's name in front where there are several."""

    def __init__(self, boards: Sequence[BoardView]) -> None:
        self._boards = boards

    def show(self, event: Shown, board: BoardView) -> None:
        """Print it."""
        if isinstance(event, Ended) and len(self._boards) == 1:
            # The command ends with the same words.
            return
        width = max(len(one.label) for one in self._boards)
        front = f"{board.label:{width}} | " if len(self._boards) > 1 else ""
        for line in plain.lines(event, board):
            print(front + line, flush=True)


class JsonScreen:
    """A JSON object a line."""

    def show(self, event: Shown, board: BoardView) -> None:
        """Print it."""
        if isinstance(event, _QUIET):
            return
        document: dict[str, Any] = {"event": type(event).__name__, "board": board.label}
        print(json.dumps(finite(document | _document(event)), allow_nan=False), flush=True)


class TableScreen:
    """The live table."""

    def __init__(self, table: LiveTable) -> None:
        self._table = table

    def show(self, event: Shown, board: BoardView) -> None:
        """Draw it again, at once where there is news."""
        self._table.show(at_once=not isinstance(event, _QUIET))


@contextlib.contextmanager
def screen(
    boards: Sequence[BoardView], *, json_lines: bool, plain_lines: bool, checked: bool, caution: str
) -> Iterator[Screen]:
    """The screen that fits the call and what standard output is."""
    if json_lines:
        yield JsonScreen()
    elif plain_lines or not sys.stdout.isatty():
        print(f"looking for {', '.join(board.label for board in boards)}. {caution}", flush=True)
        yield PlainScreen(boards)
    else:
        with LiveTable(boards, caution, Console(), checked) as table:
            yield TableScreen(table)


def _document(event: Shown) -> dict[str, Any]:
    if isinstance(event, RepArrived):
        return {
            "rep": event.rep.to_document(),
            "cues": [dataclasses.asdict(cue) for cue in event.cues],
            "journal_id": event.journal_id,
            "sequence": event.sequence,
            "boot": event.boot,
        }
    if isinstance(event, RepChecked):
        reference = None if event.reference is None else event.reference.to_document()
        return {"index": event.rep.index, "ok": event.ok, "words": event.words, "reference": reference}
    return dataclasses.asdict(event)
