"""A line for each thing that happens, for a standard output that is no terminal (a file, a pipe, a small screen)."""

from __future__ import annotations

from brakebeat.link import words
from brakebeat.link.events import (
    Connected,
    CueHeard,
    Event,
    LinkLost,
    RecordsGone,
    RepArrived,
    Waiting,
)
from brakebeat.link.several import Ended
from brakebeat.watch.board_view import BoardView
from brakebeat.watch.live_check import RepChecked


def lines(event: Event | Ended | RepChecked, board: BoardView) -> list[str]:
    """What to print on ``event``, which ``board`` has taken already."""
    if isinstance(event, Connected):
        careful = [f"CAREFUL {board.warning}"] if board.warning else []
        return [f"connected to {event.name} ({event.address})", *words.status_lines(event.status), *careful]
    if isinstance(event, RepArrived):
        drop = board.rows[-1].drop
        below = f"  {drop:.0%} below the set's best" if drop else ""
        return [words.rep_line(event.rep, event.cues) + below]
    if isinstance(event, RepChecked):
        return [f"check   rep {event.rep.index + 1}: {event.words}"]
    if isinstance(event, CueHeard):
        return [words.cue_line(event.kind, event.rep)]
    if isinstance(event, RecordsGone):
        return [words.gone_line(event.first, event.last)]
    if isinstance(event, LinkLost):
        return [f"link lost: {event.reason}"]
    if isinstance(event, Waiting):
        return [words.waiting_line(event.attempt, event.attempts, event.pause_s)]
    if isinstance(event, Ended) and event.reason:
        return [f"ended: {event.reason}"]
    return []
