"""A first look at a recording: how fast the wheel turns, how hard it speeds up, how even its intervals are."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from brakebeat.reference.model.likelihood import Array, Scales

# 60 rad/s won in a second: what to assume when a recording is too short to say.
DEFAULT_ACCEL_RAD_S2 = 60.0
DEFAULT_NOISE = 0.03
_FEW = 8
# A median is of the value itself and of so many on either side.
_SIDE = 2
# Contacts and comparators have settled by then (common practice, no source); magnets are further apart.
_BOUNCE_S = 0.0015


def measure_scales(t_s: Array, spacing_rad: float, per_rev: int) -> Scales:
    """Scales of a recording with edges at ``t_s`` (n,), s, sorted; ``per_rev`` edges in a turn."""
    calm = _without_bursts(t_s)
    gaps = np.diff(calm)
    if len(gaps) < _FEW:
        return Scales(spacing_rad, DEFAULT_ACCEL_RAD_S2, DEFAULT_NOISE)
    # Medians pass over what spurious and missed edges are left.
    speed = spacing_rad / medians(gaps)
    top = float(np.quantile(speed, 0.95))
    return Scales(
        spacing_rad, _usual_accel(speed, top, spacing_rad, per_rev), _unevenness(gaps, speed > 0.6 * top)
    )


def medians(values: Array) -> Array:
    """The median of each value (n,) and the two on either side; the outermost ones go on for ever."""
    wide = np.pad(values, _SIDE, mode="edge")
    medians: Array = np.sort(sliding_window_view(wide, 2 * _SIDE + 1), axis=1)[:, _SIDE]
    return medians


def _without_bursts(t_s: Array) -> Array:
    """Times without edges that follow another far too soon.

    What counts as soon comes from the intervals weighted by their length: bounces are many but last no time.
    """
    gaps = np.diff(t_s)
    order = np.sort(gaps)
    share = np.cumsum(order)
    if not len(gaps) or share[-1] <= 0.0:
        return t_s[:1]
    # Rests would drown the turning: what lasts longer than ten times the median interval does not count. Bounces,
    # which may be the greater part of all edges, do not make that median.
    usual = order[order > _BOUNCE_S] if (order > _BOUNCE_S).sum() >= _FEW else order
    awake = order[order <= 10.0 * max(float(np.median(usual)), 1e-4)]
    share = np.cumsum(awake)
    quick = float(awake[np.searchsorted(share, 0.1 * share[-1])])
    return t_s[np.append(True, gaps > 0.3 * quick)]


def _usual_accel(speed: Array, top: float, spacing_rad: float, per_rev: int) -> float:
    """Median size of the acceleration where the wheel is fast, rad/s².

    Differences of ω²/2 over a whole turn, because there the magnets' placement cancels.
    """
    lag = per_rev if 2 <= per_rev < len(speed) // 4 else min(2, len(speed) - 1)
    energy = 0.5 * speed**2
    change = np.abs(energy[lag:] - energy[:-lag]) / (lag * spacing_rad)
    fast = np.minimum(speed[lag:], speed[:-lag]) > 0.25 * top
    usual = float(np.median(change[fast])) if np.any(fast) else 0.0
    return max(1.5 * usual, 0.005 * top**2, 1.0)


def _unevenness(gaps: Array, fast: np.ndarray) -> float:
    """Robust standard deviation of an interval's logarithm where the wheel is fast.

    Third differences leave out the speed's own course (their noise gain is √20).
    """
    wiggle = np.diff(np.log(gaps), 3)
    wiggle = wiggle[fast[3:] & fast[:-3]]
    if len(wiggle) < _FEW:
        return DEFAULT_NOISE
    return float(np.clip(1.4826 * np.median(np.abs(wiggle)) / np.sqrt(20.0), 0.003, 0.15))
