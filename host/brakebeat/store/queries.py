"""What the store holds, for whoever shows or judges it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from brakebeat.results import Cue
from brakebeat.store.clock import from_stored
from brakebeat.store.connection import Store
from brakebeat.store.rep_rows import StoredRep, numbered


@dataclass(frozen=True)
class SessionSummary:
    """A session with what its sets add up to. ``reps`` leaves out momentum reps."""

    id: int
    uid: str
    athlete: str
    started: datetime
    exercises: tuple[str, ...]
    sets: int
    reps: int
    plan_id: int | None


@dataclass(frozen=True)
class StoredSet:
    """A set with its reps in order, its cues and its notes."""

    id: int
    uid: str
    session_id: int
    position: int
    athlete: str
    exercise: str
    rig: str | None
    inertia_kg_m2: float | None
    started: datetime
    engine: str
    engine_version: str
    has_edges: bool
    reps: tuple[StoredRep, ...]
    cues: tuple[Cue, ...]
    notes: tuple[str, ...]

    @property
    def counting(self) -> list[StoredRep]:
        """The reps that belong into the set's figures."""
        return [rep for rep in self.reps if rep.counts]


def sessions(
    store: Store,
    *,
    athlete_id: int | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
    limit: int | None = None,
) -> list[SessionSummary]:
    """Sessions that are not deleted, the newest first; from ``since`` on and before ``until``."""
    conditions, values = ["1"], []
    for clause, value in (
        ("athlete_id = ?", athlete_id),
        ("started_ms >= ?", None if since is None else since.timestamp() * 1000),
        ("started_ms < ?", None if until is None else until.timestamp() * 1000),
    ):
        if value is not None:
            conditions.append(clause)
            values.append(value)
    sql = (
        "WITH chosen AS (SELECT * FROM live_session "
        f"WHERE {' AND '.join(conditions)} ORDER BY started_ms DESC, id DESC LIMIT ?) "
        "SELECT chosen.id, chosen.uid, chosen.athlete, chosen.started_ms, chosen.utc_offset_min, chosen.plan_id,"
        " json_group_array(DISTINCT exercise.name) FILTER (WHERE exercise.id IS NOT NULL) AS exercises,"
        " count(work_set.id) AS sets,"
        " sum((SELECT count(*) FROM rep WHERE rep.computation_id = work_set.computation_id AND NOT rep.momentum))"
        " AS reps FROM chosen"
        " LEFT JOIN work_set ON work_set.session_id = chosen.id AND work_set.deleted_ms IS NULL"
        " LEFT JOIN exercise ON exercise.id = work_set.exercise_id"
        " GROUP BY chosen.id ORDER BY chosen.started_ms DESC, chosen.id DESC"
    )
    return [
        SessionSummary(
            row["id"],
            row["uid"],
            row["athlete"],
            from_stored(row["started_ms"], row["utc_offset_min"]),
            tuple(json.loads(row["exercises"])),
            row["sets"],
            row["reps"] or 0,
            row["plan_id"],
        )
        for row in store.rows(sql, (*values, -1 if limit is None else limit))
    ]


def newest_with_sets(store: Store, athlete_id: int) -> SessionSummary | None:
    """An athlete's newest session that has sets, None where there is none."""
    row = store.row(
        "SELECT max(started_ms) AS started_ms FROM live_session WHERE athlete_id = ? AND EXISTS"
        " (SELECT 1 FROM work_set WHERE session_id = live_session.id AND deleted_ms IS NULL)",
        (athlete_id,),
    )
    if row is None or row["started_ms"] is None:
        return None
    since = from_stored(row["started_ms"])
    newest = sessions(store, athlete_id=athlete_id, since=since)
    return next((each for each in newest if each.sets), None)


@dataclass(frozen=True)
class Which:
    """Which sets are meant: those of which all hold that are not None."""

    session_id: int | None = None
    athlete_id: int | None = None
    exercise_id: int | None = None
    since: datetime | None = None

    def sql(self) -> tuple[str, list[Any]]:
        """A condition on view live_set with its values."""
        conditions, values = ["1"], []
        for clause, value in (
            ("session_id = ?", self.session_id),
            ("athlete_id = ?", self.athlete_id),
            ("exercise_id = ?", self.exercise_id),
            ("started_ms >= ?", None if self.since is None else self.since.timestamp() * 1000),
        ):
            if value is not None:
                conditions.append(clause)
                values.append(value)
        return " AND ".join(conditions), values


def sets(
    store: Store,
    *,
    session_id: int | None = None,
    athlete_id: int | None = None,
    exercise_id: int | None = None,
    since: datetime | None = None,
) -> Iterator[StoredSet]:
    """Sets that are not deleted with all that is in them, in order of time."""
    where, values = Which(session_id, athlete_id, exercise_id, since).sql()
    sql = f"SELECT * FROM live_set WHERE {where} ORDER BY started_ms, session_id, position"
    for row in store.rows(sql, values):
        yield _set(store, row)


def _set(store: Store, row: Any) -> StoredSet:
    computation = (row["computation_id"],)
    marks = store.rows("SELECT at_us FROM rep_mark WHERE set_id = ? AND deleted_ms IS NULL", (row["id"],))
    reps = store.rows("SELECT * FROM rep WHERE computation_id = ? ORDER BY rep_index", computation)
    cues = store.rows("SELECT * FROM cue WHERE computation_id = ? ORDER BY t_us", computation)
    return StoredSet(
        id=row["id"],
        uid=row["uid"],
        session_id=row["session_id"],
        position=row["position"],
        athlete=row["athlete"],
        exercise=row["exercise"],
        rig=row["rig"],
        inertia_kg_m2=row["inertia_kg_m2"],
        started=from_stored(row["started_ms"], row["utc_offset_min"]),
        engine=row["engine"],
        engine_version=row["engine_version"],
        has_edges=row["recording_id"] is not None,
        reps=tuple(numbered(reps, [mark["at_us"] for mark in marks])),
        cues=tuple(Cue(cue["t_us"], cue["rep_index"], cue["kind"]) for cue in cues),
        notes=tuple(text for _, text in notes(store, "set", row["id"])),
    )


def notes(store: Store, kind: str, identity: int) -> Sequence[tuple[int, str]]:
    """(id, text) of the notes on an athlete, a session or a set, the oldest first."""
    rows = store.rows(
        f"SELECT id, text FROM note WHERE {kind}_id = ? AND deleted_ms IS NULL ORDER BY id", (identity,)
    )
    return [(row["id"], row["text"]) for row in rows]
