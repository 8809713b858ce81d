"""The motion as the reference sees it, on a fine grid, for plots."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.formats.recording import Recording
from brakebeat.reference.curve.ends import Stroke, sampled
from brakebeat.reference.figures.phases import athlete_torque_nm
from brakebeat.reference.model.spline import Array
from brakebeat.reference.pipeline import understand
from brakebeat.reference.reps import rep_phases
from brakebeat.reference.rig_physics import Physics
from brakebeat.reference.understanding import Understanding
from brakebeat.reference.zero import Zero

GRID_S = 0.002
Part = tuple[Array, Array, Array, Array, NDArray[np.int8]]
IDLE, CONCENTRIC, ECCENTRIC, OTHER = 0, 1, 2, 3


@dataclass(frozen=True)
class Trace:
    """The motion on a grid 2 ms fine while the wheel turns; arrays of shape (n,).

    ``t_s`` seconds on the recording's clock (its zero, not the first edge). ``angle_rad`` φ, or the angle from
    the first edge where φ = 0 is unknown; the sense of the first real edge counts as positive. ``speed_rad_s``
    signed like it. ``torque_nm`` the athlete's, positive in either phase, NaN outside reps and where the
    inertia is unknown. ``phase``: 0 at rest, 1 concentric, 2 eccentric, 3 turning but no rep.
    """

    t_s: Array
    angle_rad: Array
    speed_rad_s: Array
    torque_nm: Array
    phase: NDArray[np.int8]


def trace(recording: Recording) -> Trace:
    """The motion of a recording; empty arrays where there are too few edges."""
    return trace_of(recording, understand(recording))


def trace_of(recording: Recording, seen: Understanding) -> Trace:
    """The motion of a recording that has been worked out already."""
    physics = Physics(recording.rig)
    origin_s = seen.origin_us * 1e-6
    parts = [
        _stroke_part(stroke, section.zero, physics, origin_s)
        for section in seen.sections
        for stroke in section.strokes
    ]
    return _joined(parts)


def _stroke_part(stroke: Stroke, zero: Zero | None, physics: Physics, origin_s: float) -> Part:
    t, along, speed = sampled(stroke, GRID_S)
    torque, phase = np.full(len(t), np.nan), np.full(len(t), OTHER, dtype=np.int8)
    for part, code in zip(rep_phases(stroke, zero) or (), (CONCENTRIC, ECCENTRIC), strict=False):
        inside = (t >= part.t_s[0]) & (t <= part.t_s[-1])
        phase[inside] = code
        own = athlete_torque_nm(part, physics)
        if own is not None:
            torque[inside] = np.interp(t[inside], part.t_s, own)
    angle = stroke.sense * along - (zero.angle_rad if zero else 0.0)
    return t + stroke.delay_s + origin_s, angle, stroke.sense * speed, torque, phase


def _joined(parts: list[Part]) -> Trace:
    """Strokes one after the other; at rest two samples mark the pause, so that lines drawn stay level."""
    if not parts:
        empty = np.zeros(0)
        return Trace(empty, empty, empty, empty, np.zeros(0, dtype=np.int8))
    pieces = []
    for number, part in enumerate(parts):
        if number and part[0][0] - parts[number - 1][0][-1] > GRID_S:
            before = parts[number - 1]
            pause = np.array([before[0][-1] + 1e-6, part[0][0] - 1e-6])
            level = np.array([before[1][-1], part[1][0]])
            pieces.append((pause, level, np.zeros(2), np.full(2, np.nan), np.full(2, IDLE, dtype=np.int8)))
        pieces.append(part)
    columns = [np.concatenate([piece[column] for piece in pieces]) for column in range(5)]
    return Trace(*columns)
