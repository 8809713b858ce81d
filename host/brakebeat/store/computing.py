"""From raw edges to the store: a recording looked at and stored, stored edges looked at again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
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
    load_recording,
    new_computation,
    start_session,
    start_set,
)
from brakebeat.watch.tape import LOST_KEY

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


@dataclass(frozen=True)
class Recomputed:
    """One set's figures before and after."""

    set_id: int
    reps_before: int
    reps_after: int
    engine: str
    engine_version: str


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
        _fill(store, row["computation_id"], seen, reps)
        set_ids.append(set_id)
    attach_recording(store, set_ids, recording)
    for set_id, reps in zip(set_ids, sets, strict=True):
        _keep_courses(store, set_id, seen, reps)
    return set_ids


def _keep_courses(store: Store, set_id: int, seen: Look, reps: Sequence[Rep]) -> None:
    if seen.motion is not None:
        courses.keep(store, set_id, courses.courses_of(seen.motion, list(enumerate(reps, 1))))


def _fill(store: Store, computation_id: int, seen: Look, reps: Sequence[Rep]) -> None:
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


def recompute(
    store: Store,
    session_id: int | None = None,
    engine: EngineName = "reference",
    tell: Callable[[int, int], None] = lambda done, of: None,
) -> tuple[int | None, list[Recomputed], int]:
    """Work stored edges out anew and let the new figures count; the old ones stay for ``undo``.

    Returns (the change's id or None, what was recomputed, how many sets have no whole raw edges). ``tell`` hears how
    many recordings are done. Edges with gaps in them would give wrong figures: those sets count as having none.
    """
    where, values = ("WHERE session_id = ?", (session_id,)) if session_id is not None else ("", ())
    rows = store.rows(
        "SELECT live_set.id, recording_id, rig_id,"
        f" json_extract(recording.header, '$.{LOST_KEY}') IS NULL AND recording_id IS NOT NULL AS whole"
        f" FROM live_set LEFT JOIN recording ON recording.id = recording_id {where} ORDER BY live_set.id",
        values,
    )
    groups: dict[tuple[int, int], list[int]] = {}
    for row in rows:
        if row["whole"]:
            groups.setdefault((row["recording_id"], row["rig_id"]), []).append(row["id"])
    looks = []
    for done, (group, set_ids) in enumerate(groups.items()):
        tell(done, len(groups))
        recording = load_recording(store, set_ids[0])
        assert recording is not None
        looks.append((group[0], set_ids, look(recording, engine)))
    tell(len(groups), len(groups))
    # Looking takes long and happens outside; others can write meanwhile.
    identity, outcome = None, []
    with store.writing():
        edits = []
        for recording_id, set_ids, seen in looks:
            for set_id, reps in _shared_out(store, recording_id, seen.analysis.reps).items():
                if set_id not in set_ids:
                    continue
                before = len(_spans(store, "id", set_id)[0][1])
                computation = new_computation(store, set_id, seen.analysis.engine)
                _fill(store, computation, seen, reps)
                edits.append(("work_set", set_id, {"computation_id": computation}))
                outcome.append(Recomputed(set_id, before, len(reps), seen.analysis.engine, __version__))
        if edits:
            identity = change(store, f"recomputed {len(edits)} sets with {engine} {__version__}", edits)
    return identity, outcome, sum(not row["whole"] for row in rows)


def _spans(store: Store, column: str, value: int) -> list[tuple[int, list[tuple[int, int]]]]:
    """(set, [(start_us, end_us) of each rep]) of the sets, deleted ones too, where ``column`` is ``value``."""
    found = []
    for row in store.rows(
        f"SELECT id, computation_id FROM work_set WHERE {column} = ? ORDER BY id", (value,)
    ):
        reps = store.rows(
            "SELECT start_us, end_us FROM rep WHERE computation_id = ? ORDER BY start_us",
            (row["computation_id"],),
        )
        found.append((row["id"], [(rep["start_us"], rep["end_us"]) for rep in reps]))
    return found


def _shared_out(store: Store, recording_id: int, reps: Sequence[Rep]) -> dict[int, list[Rep]]:
    """Each rep to the recording's set that it is nearest to in time; sets stay what they were."""
    spans = [
        (set_id, span[0][0], span[-1][1])
        for set_id, span in _spans(store, "recording_id", recording_id)
        if span
    ]
    shares: dict[int, list[Rep]] = {set_id: [] for set_id, _, _ in spans}
    for rep in reps if spans else ():
        middle = (rep.start_us + rep.end_us) // 2
        nearest = min(spans, key=lambda span: max(span[1] - middle, middle - span[2], 0))
        shares[nearest[0]].append(rep)
    return shares
