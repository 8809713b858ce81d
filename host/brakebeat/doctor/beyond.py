"""Edges from nowhere behind the part of a run in which each edge was told apart.

Where stray edges are many the count is lost before the wheel stands. How many magnets still pass is known from how the
wheel slows down; what came besides strayed.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from brakebeat.calibrate.spin import Spin

Array = NDArray[np.float64]

# A bounce follows its edge within this, s.
_BOUNCE_S = 0.0015
# The law is drawn on from what was counted: so much of what it foretells, and so many edges, may be its own error.
_LAW_OFF, _LAW_OFF_EDGES = 0.2, 4.0
# Gaps of a wheel that was spun again follow one another smoothly: three of four change by less than this (logarithm).
_SMOOTH = 0.4


def strays_beyond(t_s: Array, spin: Spin) -> tuple[int, float]:
    """How many edges strayed after the last one that was tracked, and within how many seconds; 0, 0 if none did.

    A wheel that is spun again gives edges, too, but regular ones: these are not counted.
    """
    last = int(spin.track.edge[-1])
    own = np.append(True, np.diff(t_s[last:]) >= _BOUNCE_S)
    after = t_s[last:][own]
    if len(after) < 4:
        return 0, 0.0
    angle, _ = spin.fit.coasting.angle_and_speed(after[[0, -1]] - spin.fit.start_s)
    foretold = float(angle[1] - angle[0]) * spin.magnets / (2.0 * np.pi)
    more = len(after) - 1 - foretold
    if more <= _LAW_OFF * foretold + _LAW_OFF_EDGES:
        return 0, 0.0
    changes = np.abs(np.diff(np.log(np.diff(after))))
    if float(np.quantile(changes, 0.75)) < _SMOOTH:
        return 0, 0.0
    return round(more), float(after[-1] - after[0])
