"""Sessions, sets and reps as they happen: each call is on the disk when it returns."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from datetime import datetime

from brakebeat import __version__
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording
from brakebeat.formats.rig import Rig
from brakebeat.results import Cue, Quality, Rep
from brakebeat.store import edges
from brakebeat.store.catalog import new_uid, rig_id
from brakebeat.store.clock import now_ms, to_stored
from brakebeat.store.connection import Store
from brakebeat.store.rep_rows import INSERT, to_row


def start_session(
    store: Store, athlete_id: int, started: datetime | None = None, plan_id: int | None = None
) -> int:
    """A new session, by default starting now; returns its id."""
    started_ms, offset = to_stored(started or datetime.now().astimezone())
    with store.writing():
        return store.insert(
            "session",
            {
                "uid": new_uid(),
                "athlete_id": athlete_id,
                "plan_id": plan_id,
                "started_ms": started_ms,
                "utc_offset_min": offset,
            },
        )


def start_set(
    store: Store,
    session_id: int,
    exercise_id: int,
    rig: Rig,
    engine: str,
    engine_version: str = __version__,
    started_ms: int | None = None,
) -> int:
    """A new set of a session, after those that it has; returns its id.

    Args:
        engine: who makes the figures: "board", "micropython", "cpython", "reference".
        engine_version: the board's firmware version, or this program's.
        started_ms: milliseconds since 1970 UTC, by default now.
    """
    with store.writing():
        row = store.row(
            "SELECT coalesce(max(position), 0) + 1 AS next FROM work_set WHERE session_id = ?", (session_id,)
        )
        assert row is not None
        set_id = store.insert(
            "work_set",
            {
                "uid": new_uid(),
                "session_id": session_id,
                "position": row["next"],
                "exercise_id": exercise_id,
                "rig_id": rig_id(store, rig),
                "started_ms": now_ms() if started_ms is None else started_ms,
            },
        )
        start_computation(store, set_id, engine, engine_version)
    return set_id


def start_computation(
    store: Store, set_id: int, engine: str, version: str = __version__, quality: Quality | None = None
) -> int:
    """A new, empty look at a set, which counts from now on; returns its id. The reps then go into it."""
    with store.writing():
        identity = new_computation(store, set_id, engine, version, quality)
        store.write("UPDATE work_set SET computation_id = ? WHERE id = ?", (identity, set_id))
    return identity


def new_computation(
    store: Store, set_id: int, engine: str, version: str = __version__, quality: Quality | None = None
) -> int:
    """A new, empty look at a set beside the one that counts; returns its id."""
    with store.writing():
        return store.insert(
            "computation",
            {
                "uid": new_uid(),
                "set_id": set_id,
                "engine_id": _engine_id(store, engine, version),
                "computed_ms": now_ms(),
                "quality": None if quality is None else json.dumps(asdict(quality)),
            },
        )


def add_rep(store: Store, set_id: int, rep: Rep, extension_rad_s: float | None = None) -> bool:
    """Store one rep of a set; whether it was new.

    A board sends a rep again when it did not hear that it arrived: the same index with the same start is the
    same rep. Another start under an index that is there is an ``InputError`` (a board that began to count
    anew: start a new set).
    """
    with store.writing():
        computation = _computation(store, set_id)
        there = store.row(
            "SELECT start_us FROM rep WHERE computation_id = ? AND rep_index = ?", (computation, rep.index)
        )
        if there is not None:
            if there["start_us"] != rep.start_us:
                raise InputError(
                    f"{store.path}: the set has another rep {rep.index}; the board counts anew, start a new set"
                )
            return False
        store.write(INSERT, (computation, *to_row(rep, extension_rad_s)))
    return True


def add_reps(
    store: Store, set_id: int, reps: Sequence[Rep], extension_rad_s: Sequence[float | None] | None = None
) -> None:
    """Store the reps of a set in one go; ``extension_rad_s`` has one value a rep."""
    with store.writing():
        fill_computation(store, _computation(store, set_id), reps, extension_rad_s)


def fill_computation(
    store: Store,
    computation_id: int,
    reps: Sequence[Rep],
    extension_rad_s: Sequence[float | None] | None = None,
    cues: Iterable[Cue] = (),
) -> None:
    """Store what an engine found in a set."""
    speeds = extension_rad_s or [None] * len(reps)
    rows = [(computation_id, *to_row(rep, speed)) for rep, speed in zip(reps, speeds, strict=True)]
    with store.writing():
        store.write_many(INSERT, rows)
        store.write_many(
            "INSERT OR IGNORE INTO cue (computation_id, t_us, kind, rep_index) VALUES (?, ?, ?, ?)",
            [(computation_id, cue.t_us, cue.kind, cue.rep) for cue in cues],
        )


def add_cue(store: Store, set_id: int, cue: Cue) -> None:
    """Store a sound that the board made; the same one twice is one."""
    with store.writing():
        store.write(
            "INSERT OR IGNORE INTO cue (computation_id, t_us, kind, rep_index) VALUES (?, ?, ?, ?)",
            (_computation(store, set_id), cue.t_us, cue.kind, cue.rep),
        )


def attach_recording(store: Store, set_ids: Sequence[int], recording: Recording) -> int:
    """Keep the raw edges of these sets (in the order of the recording's sets); returns the recording's id."""
    with store.writing():
        identity = add_recording(store, recording)
        for set_id in set_ids:
            store.write("UPDATE work_set SET recording_id = ? WHERE id = ?", (identity, set_id))
    return identity


def keep_edges(store: Store, set_id: int, recording: Recording) -> None:
    """Keep a growing recording as a set's raw edges, in place of what was kept of it before.

    Edges that another set has, too, are kept once; a recording that is another set's is never written over.
    """
    with store.writing():
        uid = edges.digest(recording.t_us, recording.step)
        own = store.row("SELECT recording_id AS id FROM work_set WHERE id = ?", (set_id,))
        assert own is not None
        shared = "SELECT 1 FROM work_set WHERE recording_id = ? AND id <> ?"
        is_own = own["id"] is not None and store.row(shared, (own["id"], set_id)) is None
        if is_own and store.row("SELECT 1 FROM recording WHERE uid = ?", (uid,)) is None:
            store.write(
                "UPDATE recording SET uid = ?, header = ?, edge_count = ?, edges = ? WHERE id = ?",
                (uid, *_packed(recording), own["id"]),
            )
            return
        now = attach_recording(store, [set_id], recording)
        if is_own and own["id"] != now:
            store.write("DELETE FROM recording WHERE id = ?", (own["id"],))


def _packed(recording: Recording) -> tuple[str, int, bytes]:
    packed = edges.pack(recording.t_us, recording.step)
    return json.dumps(recording.header), len(recording.t_us), packed


def add_recording(store: Store, recording: Recording) -> int:
    """Keep a recording's edges and header; the id of the one with the same edges where there is one."""
    uid = edges.digest(recording.t_us, recording.step)
    with store.writing():
        row = store.row("SELECT id FROM recording WHERE uid = ?", (uid,))
        if row is not None:
            return row["id"]
        names = ("header", "edge_count", "edges")
        values = dict(zip(names, _packed(recording), strict=True))
        return store.insert("recording", {"uid": uid, **values, "created_ms": now_ms()})


def load_recording(store: Store, set_id: int) -> Recording | None:
    """The raw edges of a set's recording with the set's rig; None where none were kept."""
    row = store.row(
        "SELECT recording.header, recording.edges, work_set.position, rig.document FROM work_set "
        "JOIN recording ON recording.id = work_set.recording_id JOIN rig ON rig.id = work_set.rig_id "
        "WHERE work_set.id = ?",
        (set_id,),
    )
    if row is None:
        return None
    t_us, step = edges.unpack(row["edges"])
    rig = Rig.model_validate_json(row["document"])
    return Recording(t_us, step, json.loads(row["header"]), f"{store.path} (stored edges)", rig)


def _computation(store: Store, set_id: int) -> int:
    row = store.row("SELECT computation_id FROM work_set WHERE id = ?", (set_id,))
    if row is None or row["computation_id"] is None:
        raise InputError(f"{store.path}: there is no set {set_id} to put reps into")
    return row["computation_id"]


def _engine_id(store: Store, name: str, version: str) -> int:
    store.write("INSERT OR IGNORE INTO engine (name, version) VALUES (?, ?)", (name, version))
    row = store.row("SELECT id FROM engine WHERE name = ? AND version = ?", (name, version))
    assert row is not None
    return row["id"]
