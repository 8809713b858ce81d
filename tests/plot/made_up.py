"""A set made up for pictures: the speed is drawn, not simulated, so that every figure of it is known."""

from dataclasses import dataclass

import numpy as np

from brakebeat.results import Analysis, Cue, Rep, split_sets


@dataclass
class MadeUpTrace:
    t_s: np.ndarray
    speed_rad_s: np.ndarray


def make_set(fractions=(0.25, 0.22, 0.27, 0.24, 0.55, 0.25, 0.52, 0.21), peaks=None):
    """A trace, the reference's analysis and the firmware's, which is a little off and has cues."""
    peaks = peaks or [60, 72, 88, 87, 85, 82, 78, 74]
    t_s, speed, reps = [np.array([0.0, 0.5])], [np.zeros(2)], []
    start = 0.5
    for index, (fraction, peak) in enumerate(zip(fractions, peaks, strict=True)):
        up, down = 1.0, 0.9
        u = np.linspace(0, 1, 200)
        rise = peak * np.sin(np.pi / 2 * u)
        fall = peak * (1 - np.clip((u - fraction) / (1 - fraction), 0, 1) ** 1.5)
        sense = 1 if index % 2 == 0 else -1
        t_s += [start + up * u, start + up + down * u[1:]]
        speed += [sense * rise, sense * fall[1:]]
        microseconds = [
            round(1e6 * x) for x in (start, start + up, start + up + down, start + up + down * fraction)
        ]
        reps.append(
            Rep(
                index=index,
                momentum=index < 2,
                start_us=microseconds[0],
                extension_us=microseconds[1],
                end_us=microseconds[2],
                peak_us=microseconds[1],
                peak_rad_s=float(peak),
                concentric_rad=peak * 2 / np.pi,
                eccentric_rad=peak * 0.6,
                brake_onset_us=microseconds[3],
                brake_fraction=fraction,
                brake_timing="late" if fraction > 0.35 else "inside",
            )
        )
        start += up + down + (0.3 if index == 3 else 0.02)
    t_s.append(np.array([start + 0.5]))
    speed.append(np.zeros(1))
    trace = MadeUpTrace(np.concatenate(t_s), np.concatenate(speed))
    reference = Analysis("reference", 1000, reps, sets=split_sets(reps, 10))
    late = [rep for rep in reps if rep.brake_timing == "late"]
    cues = [Cue(rep.extension_us + 330_000, rep.index, "late") for rep in late]
    cues.append(Cue(reps[-1].extension_us, reps[-1].index, "drop_off"))
    firmware = Analysis("micropython", 1000, reps, cues, sets=reference.sets)
    return trace, firmware, reference
