"""Puts each rep into the store, before the board is told that it has arrived, and the raw edges beside it."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import datetime, tzinfo

from brakebeat.coach.belonging import Belonging
from brakebeat.coach.choice import Choice
from brakebeat.coach.session import Placed
from brakebeat.coach.set_edges import SetEdges
from brakebeat.link.events import Connected, EdgesArrived, Event, RepArrived
from brakebeat.store import Store
from brakebeat.store.arrivals import arrived_before, note_arrival
from brakebeat.store.catalog import named
from brakebeat.store.sessions import add_cue, add_rep, start_session, start_set
from brakebeat.watch.rig_header import clock_header, rig_header

# Whose reps are that waited on the board from before the session: nobody can know, so nobody is credited.
NOBODY = "not assigned"


class Keeper:
    """Writes a session as it happens; a session or set without a rep leaves nothing behind.

    ``now_s``: gives the seconds since 1970. ``zone``: where it happens; None is where this computer is.
    """

    def __init__(
        self,
        store: Store,
        choice: Choice,
        now_s: Callable[[], float] = time.time,
        zone: tzinfo | None = None,
    ) -> None:
        self._store = store
        self._choice = choice
        self._now_s = now_s
        self._zone = zone
        self._firmware = "unknown"
        self._sessions: dict[bool, int] = {} if choice.session_id is None else {True: choice.session_id}
        self._set: tuple[int | tuple[int, int], int] | None = None
        self._clocks = Belonging()
        self._edges = SetEdges(store, rig_header(choice.rig))

    def keep(self, event: Event, placed: Placed | None) -> None:
        """Store what is to be stored. Raises StoreError; then the board keeps the rep."""
        if isinstance(event, Connected):
            self._firmware = event.status.firmware_version
            self._clocks.connected(event)
            self._edges.header = rig_header(self._choice.rig) | clock_header(event)
        elif isinstance(event, EdgesArrived):
            self._edges.take(event, self._now_s())
        elif isinstance(event, RepArrived) and placed is not None:
            self._rep(event, placed)
        else:
            self._edges.look(self._now_s())

    @property
    def session_id(self) -> int | None:
        """The session that the athlete's reps go into; None before the first."""
        return self._sessions.get(True)

    def close(self) -> None:
        """No more will come: keep the edges that have."""
        self._edges.save()

    def _rep(self, event: RepArrived, placed: Placed) -> None:
        with self._store.writing():
            if arrived_before(self._store, event.journal_id, event.sequence):
                return  # Stored, but the link broke before the board had heard of it.
            set_id = self._set_id(event, placed)
            add_rep(self._store, set_id, event.rep)
            note_arrival(self._store, event.journal_id, event.sequence, set_id, event.rep.index)
            for cue in event.cues:
                add_cue(self._store, set_id, cue)
            if placed.set_number is not None:
                self._edges.rep(set_id, event.boot, event.rep.start_us, event.rep.end_us)

    def _set_id(self, event: RepArrived, placed: Placed) -> int:
        key = placed.set_number or (event.journal_id, event.boot)
        if self._set is None or self._set[0] != key:
            mine = placed.set_number is not None
            exercise = named(self._store, "exercise", self._choice.exercise if mine else NOBODY)
            started_s = self._started_s(event)
            session = self._session(mine, started_s)
            new = start_set(
                self._store,
                session,
                exercise,
                self._choice.rig,
                "board",
                self._firmware,
                round(started_s * 1000),
            )
            self._set = (key, new)
        return self._set[1]

    def _started_s(self, event: RepArrived) -> float:
        """When the rep began, by the board's clock where that can be told, else now."""
        now_s, ended_s = self._now_s(), self._clocks.ended_s(event)
        lasted_s = (event.rep.end_us - event.rep.start_us) / 1e6
        return now_s if ended_s is None else min(now_s, ended_s - lasted_s)

    def _session(self, mine: bool, started_s: float) -> int:
        if mine not in self._sessions:
            athlete = named(self._store, "athlete", self._choice.athlete if mine else NOBODY)
            started = datetime.fromtimestamp(started_s).astimezone(self._zone)
            plan_id = self._choice.plan_id if mine else None
            self._sessions[mine] = start_session(self._store, athlete, started, plan_id)
        return self._sessions[mine]
