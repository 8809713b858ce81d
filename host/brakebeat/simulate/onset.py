"""Brake onset by its definition, from a dense torque."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

ONSET_SHARE = 0.1


def onset_s(t_s: NDArray[np.float64], braking_nm: NDArray[np.float64]) -> float | None:
    """When the braking torque first exceeded 10 % of its peak, to stay above it until the peak.

    Args:
        t_s: rising times in s, shape (n,), dense enough for straight lines between them.
        braking_nm: the athlete's braking torque in N·m, positive, friction taken out, shape (n,).

    Returns:
        The time in s, or None where there is no braking at all.
    """
    peak = int(np.argmax(braking_nm))
    level = ONSET_SHARE * float(braking_nm[peak])
    if level <= 0.0:
        return None
    below = np.flatnonzero(braking_nm[:peak] <= level)
    if not len(below):
        return float(t_s[0])
    at = int(below[-1])
    share = (level - braking_nm[at]) / (braking_nm[at + 1] - braking_nm[at])
    return float(t_s[at] + share * (t_s[at + 1] - t_s[at]))
