"""Peak-speed errors of every method on the same recordings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from brakebeat.bench.accuracy_table.conditions import CONDITIONS, Condition
from brakebeat.bench.accuracy_table.measure import TrueRep
from brakebeat.bench.peak_methods.plain import (
    interval_peak_rad_s,
    peak_bound,
    revolution_peak_rad_s,
    without_bounces,
)
from brakebeat.check.matching import match
from brakebeat.formats.recording import Recording

METHODS = ("interval", "revolution", "firmware", "reference")
# Errors by method, relative to the truth; None where the method gave no peak.
Errors = dict[str, list[float | None]]


@dataclass
class SetPeaks:
    """One recording: the errors, and the bound of each rep."""

    condition: str
    errors: Errors = field(default_factory=lambda: {method: [] for method in METHODS})
    bounds: list[float] = field(default_factory=list)


@dataclass(frozen=True)
class MethodScore:
    """Relative errors over all reps; ``times_bound`` is rms ÷ bound. None where no rep had a peak."""

    rms: float | None
    median: float | None
    worst: float | None
    times_bound: float | None
    without_peak: int


@dataclass(frozen=True)
class ConditionScore:
    """All methods on one kind of recording; ``bound`` is the root mean square over the reps."""

    condition: str
    n: int
    bound: float
    methods: dict[str, MethodScore]

    def to_document(self) -> dict[str, Any]:
        """For JSON."""
        return {**vars(self), "methods": {name: vars(score) for name, score in self.methods.items()}}


def set_peaks(task: tuple[str, int]) -> SetPeaks:
    """Simulate one set (condition, seed) and take its peaks in every way."""
    from brakebeat.board import replay
    from brakebeat.reference import analyse

    condition = CONDITIONS[task[0]]
    sensed = condition.sensed(task[1])
    trues = [TrueRep(place, document) for place, document in enumerate(sensed.truth["reps"])]
    found = SetPeaks(condition.name)
    by_engine = {
        "firmware": _engine_peaks(replay(sensed.recording).reps, trues),
        "reference": _engine_peaks(analyse(sensed.recording).reps, trues),
    }
    for true in trues[condition.leave_out :]:
        want = float(true.document["peak_rad_s"])
        peaks = _plain_peaks(condition, sensed.recording, true) | {
            engine: peaks.get(true.place) for engine, peaks in by_engine.items()
        }
        for method in METHODS:
            peak = peaks[method]
            found.errors[method].append(None if peak is None else peak / want - 1.0)
        found.bounds.append(peak_bound(want, condition.sensor.pulses, condition.sensor.jitter_us))
    return found


def _engine_peaks(reps: Sequence[Any], trues: Sequence[TrueRep]) -> dict[int, float]:
    return {j: reps[i].peak_rad_s for i, j in match(reps, trues).pairs}


def _plain_peaks(condition: Condition, recording: Recording, true: TrueRep) -> dict[str, float | None]:
    """The plain methods are told where the rep is, and given a dead time where there are magnets."""
    first, last = np.searchsorted(recording.t_us, [true.start_us, true.end_us])
    t_us = recording.t_us[first:last]
    if condition.sensor.kind == "magnets":
        t_us = without_bounces(t_us)
    pulses = condition.sensor.pulses
    return {"interval": interval_peak_rad_s(t_us, pulses), "revolution": revolution_peak_rad_s(t_us, pulses)}


def score(results: Iterable[SetPeaks]) -> list[ConditionScore]:
    """Every condition's scores, in the order in which conditions first come."""
    gathered: dict[str, SetPeaks] = {}
    for result in results:
        into = gathered.setdefault(result.condition, SetPeaks(result.condition))
        into.bounds += result.bounds
        for method in METHODS:
            into.errors[method] += result.errors[method]
    return [_score(one) for one in gathered.values()]


def _score(one: SetPeaks) -> ConditionScore:
    bound = _rms(one.bounds)
    methods = {method: _method_score(one.errors[method], bound) for method in METHODS}
    return ConditionScore(one.condition, len(one.bounds), bound, methods)


def _method_score(errors: Sequence[float | None], bound: float) -> MethodScore:
    given = [error for error in errors if error is not None]
    if not given:
        return MethodScore(None, None, None, None, len(errors))
    rms = _rms(given)
    sizes = np.abs(given)
    return MethodScore(
        rms, float(np.median(sizes)), float(sizes.max()), rms / bound, len(errors) - len(given)
    )


def _rms(values: Sequence[float]) -> float:
    return math.sqrt(math.fsum(value * value for value in values) / len(values))
