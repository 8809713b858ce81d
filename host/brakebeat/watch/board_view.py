"""What is known of one followed board: its link, what it does now, its reps with their drop-off."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from brakebeat.link.events import (
    Connected,
    CueHeard,
    Event,
    LinkLost,
    LiveArrived,
    RecordsGone,
    RepArrived,
    StatusArrived,
    Waiting,
)
from brakebeat.link.messages import BoardStatus, LiveState
from brakebeat.results import Cue, Rep

_KEPT = 200


@dataclass
class RepRow:
    """A rep as it is shown. ``drop``: how far its peak speed is below the best of its set before it, 0 to 1.

    None where that says nothing: momentum reps, and the first one that counts.
    """

    rep: Rep
    cues: list[Cue]
    drop: float | None
    # What the reference says of it; empty until it has been asked.
    difference: str = ""


@dataclass
class BoardView:
    """Takes a board's events and answers what a table wants to know."""

    label: str
    rest_gap_s: float = 10.0
    link: str = "looking for it"
    connected: bool = False
    ended: bool = False
    status: BoardStatus | None = None
    live: LiveState | None = None
    last_cue: str | None = None
    # What is odd about it; empty where nothing is.
    warning: str = ""
    reps: int = 0
    # Records that the board had overwritten before they could be fetched.
    gone: int = 0
    rows: deque[RepRow] = field(default_factory=lambda: deque(maxlen=_KEPT))
    _best_rad_s: float | None = None

    def take(self, event: Event) -> None:
        """Note what has happened."""
        if isinstance(event, RepArrived):
            self.rows.append(RepRow(event.rep, event.cues, self._drop(event.rep)))
            self.reps += 1
        elif isinstance(event, LiveArrived):
            self.live = event.live
        elif isinstance(event, CueHeard):
            self.last_cue = event.kind
        elif isinstance(event, Connected):
            self.label, self.status = event.name, event.status
            self._set_link("connected", connected=True)
        elif isinstance(event, StatusArrived):
            self.status = event.status
        elif isinstance(event, RecordsGone):
            self.gone += event.last - event.first + 1
        elif isinstance(event, LinkLost):
            self._set_link(event.reason)
        elif isinstance(event, Waiting):
            self._set_link(f"link lost, trying again in {event.pause_s:g} s")

    def end(self, reason: str) -> None:
        """Nothing more will come from it."""
        self.ended = True
        self._set_link(reason)

    def note(self, index: int, difference: str) -> None:
        """Put down what the reference says of the rep with this index."""
        for row in reversed(self.rows):
            if row.rep.index == index:
                row.difference = difference
                return

    def _set_link(self, words: str, connected: bool = False) -> None:
        self.link, self.connected = words, connected
        if not connected:
            # What happened last before the link broke is not what happens now.
            self.live = None

    def _drop(self, rep: Rep) -> float | None:
        last = self.rows[-1].rep if self.rows else None
        if last is None or not 0 <= rep.start_us - last.end_us <= self.rest_gap_s * 1e6:
            self._best_rad_s = None
        if rep.momentum:
            return None
        best = self._best_rad_s
        self._best_rad_s = max(rep.peak_rad_s, best or 0.0)
        return None if best is None else max(0.0, 1.0 - rep.peak_rad_s / best)
