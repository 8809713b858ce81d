"""Each rep's course, out of a motion that was worked out of raw edges, and kept beside the set's figures.

Working edges out takes seconds, so that a course is kept once it is known. Nothing depends on it: where the edges,
the rig or this program are others by now, it is made anew.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from brakebeat import __version__
from brakebeat.results import Rep
from brakebeat.store.connection import Store

if TYPE_CHECKING:
    from brakebeat.reference.trace import Trace

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


def courses_of(motion: Trace, reps: Sequence[tuple[int, Rep]]) -> dict[int, Course]:
    """The courses of (number in the set, rep) that the motion shows, by number."""
    made = {number: course_of(motion, number, rep) for number, rep in reps}
    return {number: course for number, course in made.items() if course is not None}


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


# Of a kept course: its rep's number; then both phases' arrays, in the order of HalfCourse, as 32-bit floats.
_NUMBER = struct.Struct("<I")
_SHAPE = (2, 5, POINTS)
_BYTES = 4 * 2 * 5 * POINTS


def pack(courses: dict[int, Course]) -> bytes:
    """Courses as bytes."""
    parts = []
    for number, course in courses.items():
        halves = [
            [half.t_s, half.angle_rad, half.speed_rad_s, half.torque_nm, half.power_w]
            for half in (course.concentric, course.eccentric)
        ]
        parts.append(_NUMBER.pack(number) + np.asarray(halves, "<f4").tobytes())
    return zlib.compress(b"".join(parts))


def unpack(packed: bytes) -> dict[int, Course]:
    """What ``pack`` packed. Raises ``ValueError`` or ``zlib.error`` for other bytes."""
    data = zlib.decompress(packed)
    size = _NUMBER.size + _BYTES
    if len(data) % size:
        raise ValueError(f"{len(data)} bytes are no whole courses")
    found = {}
    for at in range(0, len(data), size):
        number = _NUMBER.unpack_from(data, at)[0]
        values = np.frombuffer(data, "<f4", _BYTES // 4, at + _NUMBER.size).reshape(_SHAPE).astype(float)
        found[number] = Course(number, HalfCourse(*values[0]), HalfCourse(*values[1]))
    return found


def kept(store: Store, set_id: int) -> dict[int, Course] | None:
    """The courses that are kept of a set's figures; None where there are none, or of something else."""
    row = store.row(
        f"SELECT course.packed FROM ({_MADE_OF}) AS now JOIN course ON course.computation_id = now.computation_id"
        " AND course.made_of = now.made_of",
        (__version__, set_id),
    )
    if row is None:
        return None
    try:
        return unpack(row["packed"])
    except (ValueError, zlib.error):
        return None


def keep(store: Store, set_id: int, courses: dict[int, Course]) -> None:
    """Keep the courses of a set's figures."""
    with store.writing():
        store.write(
            "INSERT OR REPLACE INTO course (computation_id, made_of, packed)"
            f" SELECT computation_id, made_of, ? FROM ({_MADE_OF})",
            (pack(courses), __version__, set_id),
        )


# What a set's courses come from now.
_MADE_OF = (
    "SELECT work_set.computation_id, recording.uid || ' ' || rig.uid || ' ' || ? AS made_of FROM work_set"
    " JOIN recording ON recording.id = work_set.recording_id JOIN rig ON rig.id = work_set.rig_id"
    " WHERE work_set.id = ? AND work_set.computation_id IS NOT NULL"
)
