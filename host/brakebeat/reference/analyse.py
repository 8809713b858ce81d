"""The reference's two answers: the reps of a recording, and its motion on a fine grid."""

from __future__ import annotations

import numpy as np

from brakebeat.formats.recording import Recording
from brakebeat.reference.ends import Stroke
from brakebeat.reference.pipeline import Understanding, understand
from brakebeat.reference.reps import make_rep, rep_phases
from brakebeat.results import Analysis, Quality, Rep, split_sets

# A stretch that is no rep counts as incomplete only if it is more than a nudge.
_STRETCH_RAD = 2.0 * np.pi
_STRETCH_SPEED = 0.2


def analyse(recording: Recording) -> Analysis:
    """Reps, sets and quality of a recording, each figure with its uncertainty.

    Never raises on odd edges: what cannot be told is left out, null, or flagged.
    """
    return analysis_of(recording, understand(recording))


def analysis_of(recording: Recording, seen: Understanding) -> Analysis:
    """The analysis of a recording that has been worked out already."""
    rig = recording.rig
    reps: list[Rep] = []
    incomplete = 0
    fastest = max(
        (_top_speed(stroke) for section in seen.sections for stroke in section.strokes), default=0.0
    )
    for section in seen.sections:
        for stroke in section.strokes:
            phases = rep_phases(stroke, section.zero)
            if phases is not None and section.zero is not None:
                reps.append(make_rep(stroke, phases, section.zero, rig, seen.train.origin_us))
            elif _is_stretch(stroke, fastest):
                incomplete += 1
    _number(reps, rig.rest_gap_s, rig.momentum_reps)
    return Analysis(
        engine="reference",
        pulses=len(recording.t_us),
        reps=reps,
        quality=_quality(seen, incomplete),
        sets=split_sets(reps, rig.rest_gap_s),
    )


def _top_speed(stroke: Stroke) -> float:
    return float(stroke.fit.speed_rad_s[stroke.edges].max(initial=0.0))


def _is_stretch(stroke: Stroke, fastest: float) -> bool:
    turned = abs(stroke.finish.angle_rad - stroke.begin.angle_rad)
    return turned > _STRETCH_RAD and _top_speed(stroke) > _STRETCH_SPEED * fastest


def _number(reps: list[Rep], rest_gap_s: float, momentum_reps: int) -> None:
    for index, rep in enumerate(reps):
        rep.index = index
    for first, last in split_sets(reps, rest_gap_s):
        for rep in reps[first : last + 1]:
            rep.momentum = rep.index - first < momentum_reps


def _quality(seen: Understanding, incomplete: int) -> Quality:
    if seen.path is None:
        return Quality(bounced=0, missed=0, spurious=0, incomplete=incomplete)
    path = seen.path
    extra = ~path.real
    return Quality(
        bounced=int((extra & path.bounce).sum()),
        missed=path.missed,
        spurious=int((extra & ~path.bounce).sum()),
        incomplete=incomplete,
    )
