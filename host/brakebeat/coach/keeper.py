"""Puts each rep into the store, before the board is told that it has arrived."""

from __future__ import annotations

from brakebeat.coach.choice import Choice
from brakebeat.coach.session import Placed
from brakebeat.link.events import Connected, Event, RepArrived
from brakebeat.store import Store
from brakebeat.store.catalog import named
from brakebeat.store.sessions import add_cue, add_rep, start_session, start_set

# Whose reps are that waited on the board from before the session: nobody can know, so nobody is credited.
NOBODY = "not assigned"


class Keeper:
    """Writes a session as it happens; a session or set without a rep leaves nothing behind."""

    def __init__(self, store: Store, choice: Choice) -> None:
        self._store = store
        self._choice = choice
        self._firmware = "unknown"
        self._sessions: dict[bool, int] = {}
        self._set: tuple[int | tuple[int, int], int] | None = None

    def keep(self, event: Event, placed: Placed | None) -> None:
        """Store what is to be stored. Raises StoreError; then the board keeps the rep."""
        if isinstance(event, Connected):
            self._firmware = event.status.firmware_version
        elif isinstance(event, RepArrived) and placed is not None:
            with self._store.writing():
                set_id = self._set_id(event, placed)
                add_rep(self._store, set_id, event.rep)
                for cue in event.cues:
                    add_cue(self._store, set_id, cue)

    def _set_id(self, event: RepArrived, placed: Placed) -> int:
        key = placed.set_number or (event.journal_id, event.boot)
        if self._set is None or self._set[0] != key:
            mine = placed.set_number is not None
            exercise = named(self._store, "exercise", self._choice.exercise if mine else NOBODY)
            session = self._session(mine)
            new = start_set(self._store, session, exercise, self._choice.rig, "board", self._firmware)
            self._set = (key, new)
        return self._set[1]

    def _session(self, mine: bool) -> int:
        if mine not in self._sessions:
            athlete = named(self._store, "athlete", self._choice.athlete if mine else NOBODY)
            plan_id = self._choice.plan_id if mine else None
            self._sessions[mine] = start_session(self._store, athlete, plan_id=plan_id)
        return self._sessions[mine]
