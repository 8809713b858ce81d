"""The reference's two answers: the reps of a recording, and its motion on a fine grid."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from brakebeat.formats.recording import Recording
from brakebeat.reference.curve.ends import Stroke
from brakebeat.reference.pipeline import understood
from brakebeat.reference.reps import make_rep, rep_phases
from brakebeat.reference.understanding import Understanding
from brakebeat.results import Analysis, Quality, Rep, split_sets

# A stretch that is no rep counts as incomplete only if it is more than a nudge.
_STRETCH_RAD = 2.0 * np.pi
_STRETCH_SPEED = 0.2


def analyse(recording: Recording) -> Analysis:
    """Reps, sets and quality of a recording, each figure with its uncertainty.

    Never raises on odd edges: what cannot be told is left out, null, or flagged.
    """
    return _analysis(recording, understood(recording))


def analysis_of(recording: Recording, seen: Understanding) -> Analysis:
    """The analysis of a recording that has been worked out already."""
    return _analysis(recording, [seen])


def _analysis(recording: Recording, blocks: Iterable[Understanding]) -> Analysis:
    """The analysis of blocks that are looked at one after the other, and let go of."""
    rig = recording.rig
    reps: list[Rep] = []
    bounced = missed = spurious = 0
    fastest = 0.0
    # How far each stroke that is no rep turned, and how fast.
    others: list[tuple[float, float]] = []
    for seen in blocks:
        bounced, missed, spurious = bounced + seen.bounced, missed + seen.missed, spurious + seen.spurious
        for section in seen.sections:
            for stroke in section.strokes:
                top = _top_speed(stroke)
                fastest = max(fastest, top)
                phases = rep_phases(stroke, section.zero)
                if phases is not None and section.zero is not None:
                    reps.append(make_rep(stroke, phases, section.zero, rig, seen.origin_us))
                else:
                    others.append((abs(stroke.finish.angle_rad - stroke.begin.angle_rad), top))
    _number(reps, rig.rest_gap_s, rig.momentum_reps)
    stretches = sum(turned > _STRETCH_RAD and top > _STRETCH_SPEED * fastest for turned, top in others)
    return Analysis(
        engine="reference",
        pulses=len(recording.t_us),
        reps=reps,
        quality=Quality(bounced=bounced, missed=missed, spurious=spurious, incomplete=stretches),
        sets=split_sets(reps, rig.rest_gap_s),
    )


def _top_speed(stroke: Stroke) -> float:
    return float(stroke.fit.speed_rad_s[stroke.edges].max(initial=0.0))


def _number(reps: list[Rep], rest_gap_s: float, momentum_reps: int) -> None:
    for index, rep in enumerate(reps):
        rep.index = index
    for first, last in split_sets(reps, rest_gap_s):
        for rep in reps[first : last + 1]:
            rep.momentum = rep.index - first < momentum_reps
