"""Each rep's course for a report: as it is kept, else out of the raw edges as the reference sees them."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from brakebeat.errors import BrakebeatError
from brakebeat.formats.recording import Recording
from brakebeat.results import Rep
from brakebeat.store import Store
from brakebeat.store.courses import Course, HalfCourse, courses_of, keep, kept
from brakebeat.store.queries import StoredSet
from brakebeat.store.sessions import load_recording

__all__ = ["Course", "CourseMaker", "Courses", "HalfCourse", "greatest", "prepare"]

_Numbered = list[tuple[int, Rep]]


@dataclass(frozen=True)
class Courses:
    """A set's courses by the reps' numbers; ``reason`` says why there are none, or fewer than reps."""

    by_number: dict[int, Course]
    reason: str | None = None


class CourseMaker:
    """Courses of sets. ``wanted`` false leaves them, and each set's reason says so."""

    def __init__(self, store: Store, wanted: bool = True) -> None:
        self._store = store
        self.wanted = wanted

    def courses(self, each: StoredSet) -> Courses:
        """The set's courses. Bad stored edges are a reason, not an error: the tables are there all the same."""
        if not each.has_edges:
            return Courses({}, "No raw edges were kept with this set, so there are no curves to draw.")
        if not self.wanted:
            return Courses({}, "Curves were not asked for (--no-curves); the raw edges are in the store.")
        made = kept(self._store, each.id)
        if made is None:
            found = _worked_out(_loaded(self._store, [each]), [_numbered(each)])
            if isinstance(found, str):
                return Courses({}, f"The stored edges give no curves: {found}.")
            (made,) = found
        missing = [str(rep.number) for rep in each.reps if rep.number not in made]
        reason = f"The stored edges do not show rep {', '.join(missing)}." if missing else None
        return Courses(made, reason)


def prepare(
    store: Store, sets: Sequence[StoredSet], tell: Callable[[int], None] = lambda count: None
) -> None:
    """Work out the courses that are not kept yet, several recordings at once, and keep them.

    ``tell`` hears of how many sets, if any. Where it fails, ``CourseMaker`` has the reason.
    """
    groups: dict[tuple[int, int], list[StoredSet]] = {}
    for each in sets:
        if each.has_edges and kept(store, each.id) is None:
            row = store.row("SELECT recording_id, rig_id FROM work_set WHERE id = ?", (each.id,))
            assert row is not None
            groups.setdefault((row["recording_id"], row["rig_id"]), []).append(each)
    if groups:
        tell(sum(map(len, groups.values())))
    jobs = [(_loaded(store, those), [_numbered(each) for each in those]) for those in groups.values()]
    for those, found in zip(groups.values(), _all_worked_out(jobs), strict=True):
        if not isinstance(found, str):
            for each, made in zip(those, found, strict=True):
                keep(store, each.id, made)


def _numbered(each: StoredSet) -> _Numbered:
    return [(rep.number, rep.rep) for rep in each.reps]


def _loaded(store: Store, sharing: Sequence[StoredSet]) -> Recording | str:
    try:
        recording = load_recording(store, sharing[0].id)
        return "they are gone" if recording is None else recording
    except BrakebeatError as error:
        return str(error)


def _all_worked_out(
    jobs: list[tuple[Recording | str, list[_Numbered]]],
) -> list[list[dict[int, Course]] | str]:
    if len(jobs) < 2 or (os.cpu_count() or 1) < 2:
        return [_worked_out(recording, sets) for recording, sets in jobs]
    # Fresh processes everywhere: a forked one may inherit a lock that is held.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(min(len(jobs), os.cpu_count() or 1), context) as pool:
        return list(pool.map(_worked_out, *zip(*jobs, strict=True)))


def _worked_out(recording: Recording | str, sets: list[_Numbered]) -> list[dict[int, Course]] | str:
    """The courses of each of the sets that share a recording, or why there are none."""
    from brakebeat.reference.trace import trace

    if isinstance(recording, str):
        return recording
    try:
        motion = trace(recording)
    except BrakebeatError as error:
        return str(error)
    return [courses_of(motion, reps) for reps in sets]


def greatest(courses: Sequence[HalfCourse], figure: str) -> float:
    """The greatest finite value of a figure over some courses, 0 where there is none."""
    values = np.concatenate([getattr(course, figure) for course in courses] or [np.zeros(1)])
    finite = values[np.isfinite(values)]
    return float(finite.max()) if len(finite) else 0.0
