"""What turnarounds alone could know of φ = 0: where they centre, if each of them were known exactly.

No edge marks φ = 0, and the athlete scatters the turnarounds. What that alone would leave of brake fractions and
late cues stands beside the engines' errors, which are smaller where an engine draws on more than turnarounds.
"""

from __future__ import annotations

import statistics
from typing import Any

import numpy as np

from brakebeat.simulate.sensing import Sensed

Kept = tuple[str, float, int]
# A turnaround nearer to φ = 0 than this share of the widest one ends a rep that stopped short.
_WHOLE_SHARE = 0.87


def turns_only(sensed: Sensed) -> list[Kept]:
    """(figure, error, rep): ``brake_fraction`` and ``cue_delay`` (ms) from exact turnarounds up to then.

    φ = 0 is taken half-way between the means of the turnarounds on either side, those up to the rep's end for
    its brake fraction, those up to its start for its cue; reps that stopped short are known and left out. All
    else is exact.
    """
    reps = sensed.truth["reps"]
    late_edge = sensed.truth["rig"]["brake_target"] + sensed.truth["rig"]["brake_tolerance"]
    found: list[Kept] = []
    turns = [reps[0]["start_rad"]] if reps else []
    for place, rep in enumerate(reps):
        start_rad = rep["start_rad"]
        before = _along(rep, turns)
        turns.append(rep["stop_rad"])
        after = _along(rep, turns)
        range_rad = abs(start_rad)
        if rep["brake_fraction"] is not None and after is not None:
            onset_rad = rep["brake_fraction"] * range_rad
            fraction = (onset_rad - after) / (range_rad + after)
            found.append(("brake_fraction", fraction - rep["brake_fraction"], place))
        if before is not None and not rep["momentum"] and rep["late_us"] is not None:
            speed = _speed_rad_s(sensed, rep["late_us"])
            late_rad = late_edge * (range_rad + before) + before
            found.append(("cue_delay", (late_rad - late_edge * range_rad) / speed * 1e3, place))
    return found


def _along(rep: dict[str, Any], turns: list[float]) -> float | None:
    """φ = 0 as the turnarounds have it, along the rep's turning; None with turnarounds on one side only."""
    high = [turn for turn in turns if turn > 0.0]
    low = [turn for turn in turns if turn < 0.0]
    if not high or not low:
        return None
    widest = max(high + [-turn for turn in low])
    whole = [[turn for turn in side if abs(turn) > _WHOLE_SHARE * widest] or side for side in (high, low)]
    return float(rep["sense"] * 0.5 * (statistics.fmean(whole[0]) + statistics.fmean(whole[1])))


def _speed_rad_s(sensed: Sensed, clock_us: float) -> float:
    t_s = (clock_us - sensed.clock.start_us) * 1e-6 / (1.0 + sensed.clock.drift_ppm * 1e-6)
    return max(1.0, float(np.abs(sensed.motion.speed_rad_s(np.array([t_s]))[0])))
