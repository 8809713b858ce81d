"""The raw edges of the set that goes on, kept beside it as they come."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from brakebeat.link.events import EdgesArrived
from brakebeat.store import Store
from brakebeat.store.sessions import keep_edges
from brakebeat.watch.tape import EdgeTape

# A wheel that has not moved for so long has stood still: what has come since the last rep is worth keeping.
_QUIET_S = 1.5


class SetEdges:
    """One board's edges, shared out to sets: each set gets its own, from the longest silence before it on.

    ``header``: what stands above each recording. A process that is killed loses the edges since the last rep.
    """

    def __init__(self, store: Store, header: Mapping[str, str]) -> None:
        self.header = dict(header)
        self._store = store
        self._tape = EdgeTape()
        self._boot: int | None = None
        self._set_id: int | None = None
        # Of the last rep kept: before it nothing can be the next set's.
        self._end_us = 0
        self._came_s: float | None = None

    def take(self, event: EdgesArrived, now_s: float) -> None:
        """Edges have come."""
        last_us = self._tape.last_us
        if event.boot != self._boot or (last_us is not None and int(event.t_us[0]) < last_us):
            # Another clock: what was before is whole.
            self.save()
            self._tape, self._boot, self._set_id, self._end_us = EdgeTape(), event.boot, None, 0
        self._tape.add(event.t_us, event.step, event.missing)
        self._came_s = now_s

    def rep(self, set_id: int, boot: int, start_us: int, end_us: int) -> None:
        """A rep of a set has been stored; its edges have come before it."""
        if boot != self._boot:
            return  # Pulled before anybody listened, or on a clock of which no edge came.
        if set_id != self._set_id:
            self._next_set(set_id, start_us)
        self._end_us = end_us
        self.save()

    def look(self, now_s: float) -> None:
        """Time goes by: keep what has come, once the wheel stands."""
        if self._came_s is not None and now_s - self._came_s > _QUIET_S:
            self.save()

    def save(self) -> None:
        """Keep what has come of the set."""
        self._came_s = None
        if self._set_id is not None and self._tape.count:
            keep_edges(self._store, self._set_id, self._tape.recording(self.header))

    def _next_set(self, set_id: int, start_us: int) -> None:
        before, after = _cut(self._tape, self._end_us, start_us)
        self._tape = before
        self.save()
        self._tape, self._set_id = after, set_id


def _cut(tape: EdgeTape, end_us: int, start_us: int) -> tuple[EdgeTape, EdgeTape]:
    """The edges before and after the longest silence between two instants."""
    times, steps = tape.edges()
    first = int(np.searchsorted(times, end_us, "right"))
    # Where the second part may begin: up to the first edge of the set's first rep.
    last = min(int(np.searchsorted(times, start_us, "right")), len(times) - 1)
    places = np.arange(first, last + 1)
    # Nobody knows how long it was quiet before the first edge of all.
    silences_us = np.diff(times, prepend=times[:1] - int(_QUIET_S * 1e6))[places]
    at = int(places[np.argmax(silences_us)]) if places.size else first
    parts = []
    for some in (slice(None, at), slice(at, None)):
        part = EdgeTape()
        part.add(times[some], steps[some])
        parts.append(part)
    for hole in tape.holes:
        parts[at < len(times) and hole.to_us >= int(times[at])].holes.append(hole)
    return parts[0], parts[1]
