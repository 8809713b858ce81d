"""What a single stroke says about φ = 0: where its pull ends, where it is fastest, where its braking begins."""

from __future__ import annotations

import numpy as np

from brakebeat.reference.curve.ends import Stroke, sampled
from brakebeat.reference.model.spline import Array
from brakebeat.reference.zero import Bounds

_STEP_S = 0.004
# Braking has begun for certain where the deceleration exceeds this part of its greatest.
_BRAKING = 0.25
# The pull is over where the acceleration has fallen to this part of what it was while the wheel got fast.
_RELEASED = 0.3
_FAST = (0.6, 0.9)


def stroke_bounds(stroke: Stroke) -> Bounds:
    """Angles in the chain's frame between which φ = 0 was passed.

    After the greatest speed nothing drives any more; where the wheel slows down markedly, it is braked. Both are
    read along the turning and turned into the frame.
    """
    t, along, speed = sampled(stroke, _STEP_S)
    slowing = -stroke.along(t, 2)
    fastest = int(np.argmax(speed))
    low = float(along[fastest])
    after = slowing[fastest:]
    peak = float(after[:-3].max(initial=0.0)) if len(after) > 6 else 0.0
    begun = np.flatnonzero(after > _BRAKING * peak)
    high = float(along[fastest + begun[0]]) if peak > 0.0 and len(begun) else float(along[-1])
    if stroke.sense > 0:
        return Bounds(low, high)
    return Bounds(-high, -low)


def release_rad(stroke: Stroke) -> float | None:
    """Angle in the chain's frame at which the pull ended; None where there is none to see.

    Close to the strap's end the athlete lets go: the acceleration falls steeply there, so that the angle is far
    better known than that of the greatest speed, which is flat.
    """
    t, along, speed = sampled(stroke, _STEP_S)
    accel = stroke.along(t, 2)
    fastest = int(np.argmax(speed))
    accel, speed = accel[: fastest + 1], speed[: fastest + 1]
    rising = (speed > _FAST[0] * speed[-1]) & (speed < _FAST[1] * speed[-1])
    if not rising.any():
        return None
    level = _RELEASED * float(np.median(accel[rising]))
    pulled = np.flatnonzero(accel > level)
    if level <= 0.0 or not len(pulled) or pulled[-1] >= fastest:
        return None
    return stroke.sense * _crossing(along, accel, int(pulled[-1]), level)


def _crossing(along: Array, accel: Array, at: int, level: float) -> float:
    share = (accel[at] - level) / (accel[at] - accel[at + 1])
    return float(along[at] + share * (along[at + 1] - along[at]))
