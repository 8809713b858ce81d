"""The plain ways of getting a peak speed from edge times, and the Cramér–Rao bound that no way can beat."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

TURN_RAD = 2.0 * math.pi
Times = NDArray[np.int64]

# Bounces come up to 0.8 ms after their edge; with no dead time a plain method would take one for a sprint.
DEAD_TIME_US = 1000


def without_bounces(t_us: Times, dead_time_us: int = DEAD_TIME_US) -> Times:
    """Times with every edge left out that comes within ``dead_time_us`` of the last one kept."""
    kept: list[int] = []
    for t in t_us.tolist():
        if not kept or t - kept[-1] >= dead_time_us:
            kept.append(t)
    return np.asarray(kept, np.int64)


def interval_peak_rad_s(t_us: Times, pulses_per_rev: int) -> float | None:
    """Greatest speed from one edge to the next: even spacing ÷ time; None below two edges."""
    return _greatest_speed(t_us, 1, TURN_RAD / pulses_per_rev)


def revolution_peak_rad_s(t_us: Times, pulses_per_rev: int) -> float | None:
    """Greatest mean speed over one whole turn; None where the edges do not fill one."""
    return _greatest_speed(t_us, pulses_per_rev, TURN_RAD)


def _greatest_speed(t_us: Times, apart: int, angle_rad: float) -> float | None:
    if len(t_us) <= apart:
        return None
    # Two edges of a fine encoder can show the same microsecond.
    took_us = np.maximum(t_us[apart:] - t_us[:-apart], 1)
    return float(angle_rad / (took_us.min() * 1e-6))


def stamp_noise_s(jitter_us: float) -> float:
    """Standard deviation of a time stamp in s: the jitter and the counter's whole microseconds."""
    return math.hypot(jitter_us, 1.0 / math.sqrt(12.0)) * 1e-6


def peak_bound(peak_rad_s: float, pulses_per_rev: int, jitter_us: float) -> float:
    """Least relative standard deviation of an unbiased peak speed, from the edges of the turn about the peak.

    Time stamps t of edges Δ apart in angle, with independent Gaussian errors σ: the slope dt/dφ of their
    least-squares line has the variance 12σ²/(Δ²·N(N² − 1)), which is the Cramér–Rao bound (least squares on
    time stamps: Rubiola, Lenczner, Bourgeois, Vernotte, arXiv:1506.05009; variance of the slope: Wood's
    Gauss–Markov notes, for even spacing). ω is its inverse, so that σ_ω/ω = ω·σ_slope.

    N = ``pulses_per_rev`` + 1 edges, those of one turn about the peak; they are the ones that an average over
    a revolution rests on. Where they are placed and how the speed bends over that turn count as known: both
    must be estimated in truth, so this is a bound for every unbiased method that looks at this turn alone.
    Only a method that looks further afield, or is biased, can get below it.
    """
    spacing_rad = TURN_RAD / pulses_per_rev
    n = pulses_per_rev + 1
    slope_s_rad = stamp_noise_s(jitter_us) * math.sqrt(12.0 / (spacing_rad**2 * n * (n**2 - 1)))
    return peak_rad_s * slope_s_rad
