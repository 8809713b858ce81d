"""What a single stroke says about φ = 0: not before the wheel is fastest, not after the braking has begun."""

from __future__ import annotations

import numpy as np

from brakebeat.reference.ends import Stroke, sampled
from brakebeat.reference.zero import Bounds

_STEP_S = 0.004
# Braking has begun for certain where the deceleration exceeds this part of its greatest.
_BRAKING = 0.25


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
