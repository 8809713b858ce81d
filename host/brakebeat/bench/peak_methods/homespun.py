"""What one would write instead in an afternoon: differentiate the edges, and let SciPy find the peaks.

The speed between neighbouring edges is even spacing ÷ time, averaged over a turn, and each peak of it is a rep:
``scipy.signal.find_peaks`` with the usual knobs, set by hand on the simulator's clean sets. It gives when a rep was
fastest and how fast, and nothing of turnarounds, phases, brake or energy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import find_peaks

from brakebeat.bench.peak_methods.plain import TURN_RAD, without_bounces
from brakebeat.formats.recording import Recording

# A rep reaches this part of the fastest moment at least, rises that far from what is around it, and no two reps'
# fastest moments are nearer than this.
_HEIGHT = 0.4
_PROMINENCE = 0.3
_APART_S = 0.8
_GRID_S = 0.01


@dataclass(frozen=True)
class Peak:
    """The fastest moment of what is taken for a rep."""

    t_us: int
    peak_rad_s: float


def homespun(recording: Recording) -> list[Peak]:
    """The reps that it finds, in order."""
    pulses = recording.rig.pulses_per_rev
    t_us = recording.t_us if recording.step.any() else without_bounces(recording.t_us)
    if len(t_us) < pulses + 2:
        return []
    spacing_rad = TURN_RAD / pulses
    took_s = np.maximum(np.diff(t_us), 1) * 1e-6
    speed_rad_s = np.convolve(spacing_rad / took_s, np.ones(pulses) / pulses, "same")
    middle_s = (t_us[1:] + t_us[:-1]) * 0.5e-6
    grid_s = np.arange(middle_s[0], middle_s[-1], _GRID_S)
    even_rad_s = np.interp(grid_s, middle_s, speed_rad_s)
    fastest = float(even_rad_s.max())
    places, _ = find_peaks(
        even_rad_s, height=_HEIGHT * fastest, prominence=_PROMINENCE * fastest, distance=_APART_S / _GRID_S
    )
    return [Peak(round(grid_s[place] * 1e6), float(even_rad_s[place])) for place in places]
