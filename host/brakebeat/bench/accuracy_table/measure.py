"""One recording through the engines: how far each figure of each rep is from the truth."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Literal

from brakebeat.bench.accuracy_table.conditions import Condition
from brakebeat.bench.accuracy_table.history import turns_only
from brakebeat.check.matching import match
from brakebeat.results import Analysis, Rep

EngineName = Literal["firmware", "reference"]
ENGINES: tuple[EngineName, ...] = ("firmware", "reference")
# Turnarounds that the wheel takes straight round: end and next start coincide but for friction's dead band.
_STRAIGHT_US = 1000
# How far from the late edge an onset must be for a rep to be truly late, or truly good (clean; dirty).
LATE_MARGIN = 0.05
GOOD_MARGIN = {False: 0.05, True: 0.10}


@dataclass(frozen=True)
class Sample:
    """One error of one rep (its place in the recording, −1: of none); None where the engine was silent."""

    figure: str
    error: float | None
    rep: int


@dataclass
class SetResult:
    """What one recording gave: samples by engine (and by "turns_only"), and the engines that broke down on it."""

    condition: str
    seed: int
    samples: dict[str, list[Sample]] = field(default_factory=dict)
    crashes: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class TrueRep:
    """A rep of the truth document, with what the measuring needs of it at hand."""

    place: int
    document: dict[str, Any]

    @property
    def start_us(self) -> int:
        """First motion."""
        return int(self.document["start_us"])

    @property
    def end_us(self) -> int:
        """The wheel's standstill."""
        return int(self.document["end_us"])

    @property
    def fraction(self) -> float | None:
        """Brake fraction; None where the athlete never braked."""
        value: float | None = self.document["brake_fraction"]
        return value


def run_set(
    condition: Condition, seed: int, engines: tuple[EngineName, ...] = ENGINES, *, single: bool = False
) -> SetResult:
    """Simulate one set, run the engines, measure; single: the firmware with floats of single precision."""
    sensed = condition.sensed(seed)
    result = SetResult(condition.name, seed)
    for engine in engines:
        try:
            analysis = _run(engine, single)(sensed.recording)
        except Exception as error:  # an engine that breaks down has missed every rep; the run goes on
            result.crashes[engine] = f"{type(error).__name__}: {error}"
            analysis = Analysis("reference", 0)
        result.samples[engine] = measure(condition, sensed.truth, analysis, engine)
    result.samples["turns_only"] = [
        Sample(*told)
        for told in turns_only(sensed)
        if told[2] >= condition.leave_out and not condition.calibrated
    ]
    return result


def _run(engine: EngineName, single: bool) -> Callable[..., Analysis]:
    # Imported here: a run with one engine needs no other.
    if engine == "firmware":
        from brakebeat.board import replay

        return partial(replay, single_precision=single)
    from brakebeat.reference import analyse

    return analyse


def measure(
    condition: Condition, truth: dict[str, Any], analysis: Analysis, engine: EngineName
) -> list[Sample]:
    """The errors of an engine's analysis, reps matched to the truth by the time they share."""
    trues = [TrueRep(place, document) for place, document in enumerate(truth["reps"])]
    matching = match(analysis.reps, trues)
    samples = [Sample("missed", 1.0, j) for j in matching.only_reference]
    samples += [Sample("missed", 0.0, j) for _, j in matching.pairs]
    samples += [Sample("invented", 1.0, -1) for _ in matching.only_firmware]
    samples += [Sample("invented", 0.0, j) for _, j in matching.pairs]
    for i, j in matching.pairs:
        samples += _rep_errors(trues, j, analysis.reps[i])
    if engine == "firmware":
        partners = {analysis.reps[i].index: trues[j] for i, j in matching.pairs}
        samples += _cue_errors(condition, truth, analysis, trues, partners)
    # A rep that is no rep counts wherever it was found.
    return [s for s in samples if s.rep >= condition.leave_out or s.rep < 0]


def _rep_errors(trues: list[TrueRep], place: int, found: Rep) -> Iterator[Sample]:
    true = trues[place]
    want = true.document

    def sample(figure: str, error: float | None) -> Sample:
        return Sample(figure, error, place)

    yield sample("peak", found.peak_rad_s / want["peak_rad_s"] - 1.0)
    straight_before, straight_after = _straight(trues, place - 1), _straight(trues, place)
    yield sample(straight_before, (found.start_us - true.start_us) * 1e-3)
    yield sample(straight_after, (found.end_us - true.end_us) * 1e-3)
    if true.fraction is not None:
        yield sample("brake_fraction", _difference(found.brake_fraction, true.fraction))
    for phase in ("concentric", "eccentric"):
        mine, its = getattr(found, phase), want[phase]
        yield sample("energy", _relative(mine.energy_j, its["energy_j"]))
        yield sample("peak_power", _relative(mine.peak_power_w, its["peak_power_w"]))


def _straight(trues: list[TrueRep], place: int) -> str:
    """Which figure the turnaround after rep ``place`` belongs to."""
    if not 0 <= place < len(trues) - 1:
        return "turn_paused"
    pause_us = trues[place + 1].start_us - trues[place].end_us
    return "turn_straight" if pause_us <= _STRAIGHT_US else "turn_paused"


def _relative(value: float | None, want: float) -> float | None:
    return None if value is None or not math.isfinite(value) else value / want - 1.0


def _difference(value: float | None, want: float) -> float | None:
    return None if value is None or not math.isfinite(value) else value - want


def _cue_errors(
    condition: Condition,
    truth: dict[str, Any],
    analysis: Analysis,
    trues: list[TrueRep],
    partners: dict[int, TrueRep],
) -> Iterator[Sample]:
    """Late cues that are missing, false or badly timed; momentum reps get none, nor does what is no rep."""
    late_edge = truth["rig"]["brake_target"] + truth["rig"]["brake_tolerance"]
    sounded: dict[int, int] = {}
    for cue in analysis.cues:
        if cue.kind != "late":
            continue
        true = partners.get(cue.rep)
        if true is None or true.document["momentum"]:
            yield Sample("cue_false", 1.0, -1 if true is None else true.place)
        else:
            sounded.setdefault(true.place, cue.t_us)
    for true in trues:
        if true.document["momentum"]:
            continue
        fraction = math.inf if true.fraction is None else true.fraction
        cue_us = sounded.get(true.place)
        if fraction >= late_edge + LATE_MARGIN:
            yield Sample("cue_missing", float(cue_us is None), true.place)
        if fraction <= late_edge - GOOD_MARGIN[condition.dirty]:
            yield Sample("cue_false", float(cue_us is not None), true.place)
        late_us = true.document["late_us"]
        if cue_us is not None and fraction > late_edge and late_us is not None:
            yield Sample("cue_delay", (cue_us - late_us) * 1e-3, true.place)
