"""From raw edges to the store: a recording looked at and stored (``recomputing``: stored edges looked at again)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Literal

import numpy as np

from brakebeat import __version__
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording
from brakebeat.results import Analysis, Rep
from brakebeat.store import courses, edges
from brakebeat.store.catalog import named
from brakebeat.store.changes import change, created
from brakebeat.store.clock import to_stored
from brakebeat.store.connection import Store
from brakebeat.store.overlap import shown
from brakebeat.store.sessions import (
    add_recording,
    attach_recording,
    fill_computation,
    start_session,
    start_set,
)

if TYPE_CHECKING:
    from brakebeat.reference.trace import Trace

EngineName = Literal["reference", "firmware"]


@dataclass(frozen=True)
class Look:
    """What an engine found: the analysis, the speed at φ = 0 of each rep where it is told, the motion where known."""

    analysis: Analysis
    extension_rad_s: list[float | None]
    motion: Trace | None = None


@dataclass(frozen=True)
class Imported:
    """Where a recording went: the new sets; where none is new, the sets that show the same already.

    ``known``: its sets that were in the store, from this recording or another way. ``edges_added``: so many of those
    had no raw edges and have this recording's now.
    """

    session_id: int
    sets: int
    reps: int
    new: bool
    known: int = 0
    edges_added: int = 0


def look(recording: Recording, engine: EngineName = "reference") -> Look:
    """Work a recording out. Raises ``InputError`` or ``DeviceError`` as the engine does."""
    if engine == "firmware":
        from brakebeat.board import replay

        analysis = replay(recording)
        return Look(analysis, [None] * len(analysis.reps))
    from brakebeat.reference.analyse import analysis_of
    from brakebeat.reference.pipeline import understand
    from brakebeat.reference.trace import trace_of

    seen = understand(recording)
    analysis = analysis_of(recording, seen)
    motion = trace_of(recording, seen)
    if not analysis.reps:
        return Look(analysis, [])
    at_s = [rep.extension_us * 1e-6 for rep in analysis.reps]
    speeds = np.abs(np.interp(at_s, motion.t_s, motion.speed_rad_s))
    return Look(analysis, [float(speed) for speed in speeds], motion)


def import_recording(
    store: Store,
    recording: Recording,
    *,
    athlete: str,
    exercise: str,
    started: datetime,
    engine: EngineName = "reference",
    session_id: int | None = None,
) -> Imported:
    """Store a recording as a session (or as further sets of one), unless its edges are there already.

    Sets of it that came another way (kept by a coach, fetched, in another recording of the same board) are left as they
    are; those without edges get these. New names make a new athlete or exercise. ``started``: the moment of the
    recording's first edge. Raises ``InputError`` where no rep is in it, or the session is another athlete's; nothing is
    stored then.
    """
    there = _sets_of(store, recording)
    if there is not None:
        return there
    seen = look(recording, engine)
    if not seen.analysis.reps:
        raise InputError(
            f"{recording.path}: {seen.analysis.engine} finds no whole rep in it; nothing was stored"
        )
    with store.writing():
        there = _sets_of(store, recording)  # another process may have been quicker
        if there is not None:
            return there
        there_too = shown(store, recording, seen.analysis.reps)
        wanted = [
            some for some in _reps_of_sets(seen.analysis) if not any(each.meets(some) for each in there_too)
        ]
        bare = [each.set_id for each in there_too if not each.has_edges]
        edges_added = _add_edges(store, recording, bare)
        if not wanted:
            sets, reps = len(there_too), sum(each.reps for each in there_too)
            return Imported(there_too[0].session_id, sets, reps, False, sets, edges_added)
        athlete_id = named(store, "athlete", athlete)
        if session_id is not None:
            _refuse_other_athlete(store, session_id, athlete_id)
        chosen = session_id or start_session(store, athlete_id, started)
        exercise_id = named(store, "exercise", exercise)
        set_ids = _store_sets(store, recording, seen, wanted, chosen, exercise_id, started)
        made = [("work_set", set_id) for set_id in set_ids]
        created(store, f"import of {recording.path}", made if session_id else [*made, ("session", chosen)])
    return Imported(chosen, len(set_ids), sum(map(len, wanted)), True, len(there_too), edges_added)


def _reps_of_sets(analysis: Analysis) -> list[list[Rep]]:
    return [[rep for rep in analysis.reps if first <= rep.index <= last] for first, last in analysis.sets]


def _add_edges(store: Store, recording: Recording, set_ids: Sequence[int]) -> int:
    """Put the recording beside sets that have no edges; how many those are."""
    if set_ids:
        identity = add_recording(store, recording)
        edits = [("work_set", set_id, {"recording_id": identity}) for set_id in set_ids]
        change(store, f"raw edges of {recording.path}", edits)
    return len(set_ids)


def _refuse_other_athlete(store: Store, session_id: int, athlete_id: int) -> None:
    row = store.row("SELECT athlete_id, athlete FROM live_session WHERE id = ?", (session_id,))
    if row is None:
        raise InputError(f"session {session_id}: not in {store.path}; `brakebeat log` lists what is there")
    if row["athlete_id"] != athlete_id:
        raise InputError(
            f"session {session_id}: is {row['athlete']}'s; leave --session out, or name that athlete"
        )


def _store_sets(
    store: Store,
    recording: Recording,
    seen: Look,
    sets: Sequence[Sequence[Rep]],
    session_id: int,
    exercise_id: int,
    started: datetime,
) -> list[int]:
    """Store sets of reps; their ids."""
    origin_ms = to_stored(started)[0]
    set_ids = []
    for reps in sets:
        # The first rep starts a little before its first edge.
        at_ms = origin_ms + max(0, reps[0].start_us - int(recording.t_us[0])) // 1000
        engine = seen.analysis.engine
        set_id = start_set(store, session_id, exercise_id, recording.rig, engine, __version__, at_ms)
        row = store.row("SELECT computation_id FROM work_set WHERE id = ?", (set_id,))
        assert row is not None
        fill(store, row["computation_id"], seen, reps)
        set_ids.append(set_id)
    attach_recording(store, set_ids, recording)
    for set_id, reps in zip(set_ids, sets, strict=True):
        _keep_courses(store, set_id, seen, reps)
    return set_ids


def _keep_courses(store: Store, set_id: int, seen: Look, reps: Sequence[Rep]) -> None:
    if seen.motion is not None:
        courses.keep(store, set_id, courses.courses_of(seen.motion, list(enumerate(reps, 1))))


def fill(store: Store, computation_id: int, seen: Look, reps: Sequence[Rep]) -> None:
    """Put reps of a look, with their cues, into a computation."""
    inside = {rep.index for rep in reps}
    speeds = {rep.index: speed for rep, speed in zip(seen.analysis.reps, seen.extension_rad_s, strict=True)}
    cues = [cue for cue in seen.analysis.cues if cue.rep in inside]
    fill_computation(store, computation_id, reps, [speeds[rep.index] for rep in reps], cues)


def _sets_of(store: Store, recording: Recording) -> Imported | None:
    """Where these edges are already; deleted sets do not count."""
    row = store.row(
        "SELECT live_set.session_id, count(*) AS sets,"
        " sum((SELECT count(*) FROM rep WHERE rep.computation_id = live_set.computation_id)) AS reps"
        " FROM live_set JOIN recording ON recording.id = live_set.recording_id WHERE recording.uid = ?"
        " GROUP BY live_set.session_id ORDER BY live_set.session_id LIMIT 1",
        (edges.digest(recording.t_us, recording.step),),
    )
    return (
        None
        if row is None
        else Imported(row["session_id"], row["sets"], row["reps"] or 0, False, row["sets"])
    )
