"""Each rep's course, from the raw edges that were kept beside its set, as the reference sees it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from brakebeat.errors import BrakebeatError
from brakebeat.results import Rep
from brakebeat.store.queries import StoredSet
from brakebeat.store.sessions import load_recording

if TYPE_CHECKING:
    from brakebeat.reference.trace import Trace
    from brakebeat.store import Store

Array = NDArray[np.float64]
POINTS = 80
# Peak figures are running means that long; the drawn torque is one too, so that the two can be compared.
MEAN_S = 0.05
# Edges whose angles differ by more than that from a rep's are another motion's, or on another clock.
ANGLE_SHARE = 0.15


@dataclass(frozen=True)
class HalfCourse:
    """One phase: shape (POINTS,) each. ``t_s`` and ``angle_rad`` are 0 at φ = 0 and negative before it.

    ``torque_nm`` and ``power_w`` are the athlete's, positive, NaN where the inertia is not known.
    """

    t_s: Array
    angle_rad: Array
    speed_rad_s: Array
    torque_nm: Array
    power_w: Array


@dataclass(frozen=True)
class Course:
    """One rep's course; ``number`` counts the reps of its set from 1."""

    number: int
    concentric: HalfCourse
    eccentric: HalfCourse


@dataclass(frozen=True)
class Courses:
    """A set's courses by the reps' numbers; ``reason`` says why there are none, or fewer than reps."""

    by_number: dict[int, Course]
    reason: str | None = None


class CourseMaker:
    """Courses of sets; a recording that several sets share is worked out once.

    Working edges out takes seconds; ``wanted`` false leaves it, and each set's reason says so.
    """

    def __init__(self, store: Store, wanted: bool = True) -> None:
        self._store = store
        self.wanted = wanted
        self._traces: dict[object, Trace | str] = {}

    def courses(self, each: StoredSet) -> Courses:
        """The set's courses. Bad stored edges are a reason, not an error: the tables are there all the same."""
        if not each.has_edges:
            return Courses({}, "No raw edges were kept with this set, so there are no curves to draw.")
        if not self.wanted:
            return Courses({}, "Curves were not asked for (--no-curves); the raw edges are in the store.")
        found = self._trace(each)
        if isinstance(found, str):
            return Courses({}, f"The stored edges give no curves: {found}.")
        made = {rep.number: course for rep in each.reps if (course := course_of(found, rep.number, rep.rep))}
        missing = [str(rep.number) for rep in each.reps if rep.number not in made]
        reason = f"The stored edges do not show rep {', '.join(missing)}." if missing else None
        return Courses(made, reason)

    def _trace(self, each: StoredSet) -> Trace | str:
        row = self._store.row("SELECT recording_id, rig_id FROM work_set WHERE id = ?", (each.id,))
        key = None if row is None else (row["recording_id"], row["rig_id"])
        if key not in self._traces:
            self._traces[key] = self._worked_out(each)
        return self._traces[key]

    def _worked_out(self, each: StoredSet) -> Trace | str:
        from brakebeat.reference.trace import trace

        try:
            recording = load_recording(self._store, each.id)
            return "they are gone" if recording is None else trace(recording)
        except BrakebeatError as error:
            return str(error)


def course_of(motion: Trace, number: int, rep: Rep) -> Course | None:
    """One rep's course out of the motion; None where the motion does not have that rep at that time."""
    bounds = [time * 1e-6 for time in (rep.start_us, rep.extension_us, rep.end_us)]
    slack_s = 0.05
    if not len(motion.t_s) or motion.t_s[0] > bounds[0] + slack_s or motion.t_s[-1] < bounds[2] - slack_s:
        return None
    if not bounds[0] < bounds[1] < bounds[2]:
        return None
    concentric = _half(motion, bounds[0], bounds[1], bounds[1])
    eccentric = _half(motion, bounds[1], bounds[2], bounds[1])
    turned = ((-concentric.angle_rad[0], rep.concentric_rad), (eccentric.angle_rad[-1], rep.eccentric_rad))
    if any(abs(seen - stored) > ANGLE_SHARE * stored for seen, stored in turned):
        return None
    return Course(number, concentric, eccentric)


def _half(motion: Trace, first_s: float, last_s: float, zero_s: float) -> HalfCourse:
    inside = (motion.t_s >= first_s) & (motion.t_s <= last_s)
    t_s = np.linspace(first_s, last_s, POINTS)
    speed = np.abs(np.interp(t_s, motion.t_s, motion.speed_rad_s))
    turned = np.abs(
        np.interp(t_s, motion.t_s, motion.angle_rad) - np.interp(zero_s, motion.t_s, motion.angle_rad)
    )
    fine_t, fine_torque = motion.t_s[inside], motion.torque_nm[inside]
    told = np.isfinite(fine_torque)
    if np.count_nonzero(told) < 2:
        torque = power = np.full(POINTS, np.nan)
    else:
        torque = _running_mean(t_s, fine_t[told], fine_torque[told])
        power = torque * speed
    return HalfCourse(t_s - zero_s, np.sign(t_s - zero_s) * turned, speed, torque, power)


def _running_mean(t_s: Array, fine_t: Array, fine: Array) -> Array:
    """The mean of ``fine`` over MEAN_S around each time, over what there is of it at the phase's ends."""
    area = np.concatenate([[0.0], np.cumsum(np.diff(fine_t) * (fine[1:] + fine[:-1]) / 2)])
    low = np.clip(t_s - MEAN_S / 2, fine_t[0], fine_t[-1] - 1e-3)
    high = np.clip(t_s + MEAN_S / 2, low + 1e-3, fine_t[-1])
    return (np.interp(high, fine_t, area) - np.interp(low, fine_t, area)) / np.maximum(high - low, 1e-9)


def greatest(courses: Sequence[HalfCourse], figure: str) -> float:
    """The greatest finite value of a figure over some courses, 0 where there is none."""
    values = np.concatenate([getattr(course, figure) for course in courses] or [np.zeros(1)])
    finite = values[np.isfinite(values)]
    return float(finite.max()) if len(finite) else 0.0
