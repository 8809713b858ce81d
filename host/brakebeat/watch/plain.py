"""A line for each thing that happens, for a standard output that is no terminal (a file, a pipe, a small screen)."""

from __future__ import annotations

from brakebeat.link import words
from brakebeat.link.events import (
    Connected,
    CueHeard,
    Event,
    LinkLost,
    RepArrived,
    Waiting,
)
from brakebeat.watch.board_view import BoardView


def lines(event: Event, board: BoardView) -> list[str]:
    """What to print on ``event``, which ``board`` has taken already."""
    if isinstance(event, Connected):
        return [f"connected to {event.name} ({event.address})", *words.status_lines(event.status)]
    if isinstance(event, RepArrived):
        drop = board.rows[-1].drop
        below = f"  {drop:.0%} below the set's best" if drop else ""
        return [words.rep_line(event.rep, event.cues) + below]
    if isinstance(event, CueHeard):
        return [words.cue_line(event.kind, event.rep)]
    if isinstance(event, LinkLost):
        return [f"link lost: {event.reason}"]
    if isinstance(event, Waiting):
        return [words.waiting_line(event.attempt, event.attempts, event.pause_s)]
    return []
