"""One hard case through one engine, held against what really happened."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from brakebeat.board import replay
from brakebeat.check.matching import match
from brakebeat.formats.recording import Recording
from brakebeat.reference import analyse
from brakebeat.results import Analysis
from brakebeat.simulate import Sensor, hard_cases, preset

SENSORS: dict[str, Sensor] = {
    "6 magnets": preset("clean", 6),
    "12 magnets": preset("clean", 12),
    "96 counts": preset("clean", 96, "encoder"),
}
CASES = {name: case.right for name, case in hard_cases().items()}
ENGINES: dict[str, Callable[[Recording], Analysis]] = {"firmware": replay, "reference": analyse}
# A share of the peak.
PEAK = {"firmware": 0.01, "reference": 0.005}
# Start and end, loosely: what lies further off was taken for something else.
TIME_MS = 60.0
# With a pull that takes half a second to build the wheel is under way for as long before the first magnet passes.
TIMES_MS = {"slow_starts": 250.0}
# Of the concentric range.
FRACTION = 0.1
# Nobody can say of these whether they are in time.
NEAR_LATE = 0.05
# What was cut or let go must be counted as no rep.
COUNTS_INCOMPLETE = ("starts_in_motion", "cut_in_motion", "let_go")


@dataclass
class TrueRep:
    """A rep of the truth document, for matching."""

    start_us: int
    end_us: int
    row: dict[str, Any]


@dataclass
class Outcome:
    """What an engine made of a case.

    ``wrong`` says in words what is not as it should be with the reps, their peaks and times; ``wrong_brakes`` with
    brake onsets, momentum marks and late cues. Empty is right.
    """

    case: str
    sensor: str
    seed: int
    engine: str
    true: int = 0
    found: int = 0
    peak: float = 0.0
    time_ms: float = 0.0
    fraction: float = 0.0
    seconds: float = 0.0
    wrong: list[str] = field(default_factory=list)
    wrong_brakes: list[str] = field(default_factory=list)


def run(case: str, sensor: str, seed: int, engine: str) -> Outcome:
    """Simulate the case and hold the engine's reps against the true ones."""
    outcome = Outcome(case, sensor, seed, engine)
    recording, truth = hard_cases(SENSORS[sensor])[case](seed)
    true = [TrueRep(row["start_us"], row["end_us"], row) for row in truth["reps"]]
    outcome.true = len(true)
    began = time.perf_counter()
    try:
        analysis = ENGINES[engine](recording)
    except Exception as error:
        outcome.wrong.append(f"{type(error).__name__}: {error}")
        return outcome
    finally:
        outcome.seconds = time.perf_counter() - began
    outcome.found = len(analysis.reps)
    matching = match(analysis.reps, true)
    for kind, places in (("invented", matching.only_firmware), ("missed", matching.only_reference)):
        if places:
            outcome.wrong.append(f"{kind}: {places}")
    pairs = [(analysis.reps[i], true[j].row) for i, j in matching.pairs]
    _judge_pairs(outcome, pairs)
    if case in COUNTS_INCOMPLETE and not analysis.quality.incomplete:
        outcome.wrong.append("nothing counted as incomplete")
    if engine == "firmware" and not outcome.wrong:
        _judge_late_cues(outcome, analysis, truth)
    return outcome


def _judge_pairs(outcome: Outcome, pairs: list[tuple[Any, dict[str, Any]]]) -> None:
    for rep, row in pairs:
        name = f"rep {row['index']}"
        peak = abs(rep.peak_rad_s / row["peak_rad_s"] - 1.0)
        outcome.peak = max(outcome.peak, peak)
        if peak > PEAK[outcome.engine]:
            outcome.wrong.append(f"{name}: peak off by {peak:.1%}")
        for what in ("start_us", "end_us"):
            off_ms = (getattr(rep, what) - row[what]) / 1e3
            outcome.time_ms = max(outcome.time_ms, abs(off_ms))
            if abs(off_ms) > TIMES_MS.get(outcome.case, TIME_MS):
                outcome.wrong.append(f"{name}: {what} off by {off_ms:.0f} ms")
        if rep.momentum != row["momentum"]:
            outcome.wrong_brakes.append(f"{name}: momentum is {rep.momentum}")
        _judge_brake(outcome, name, rep, row)


def _judge_brake(outcome: Outcome, name: str, rep: Any, row: dict[str, Any]) -> None:
    if (rep.brake_timing == "none") != (row["brake_timing"] == "none"):
        outcome.wrong_brakes.append(f"{name}: brake is {rep.brake_timing}, truly {row['brake_timing']}")
    elif rep.brake_fraction is not None and row["brake_fraction"] is not None:
        off = rep.brake_fraction - row["brake_fraction"]
        outcome.fraction = max(outcome.fraction, abs(off))
        # Two turnarounds alone do not tell where phi = 0 is: a rep that says so is not held to it.
        if abs(off) > FRACTION and "zero_assumed" not in rep.flags:
            outcome.wrong_brakes.append(f"{name}: brake fraction off by {off:+.2f}")


def _judge_late_cues(outcome: Outcome, analysis: Analysis, truth: dict[str, Any]) -> None:
    late_edge = 0.35
    sounded = {cue.rep for cue in analysis.cues if cue.kind == "late"}
    for row in truth["reps"]:
        fraction = row["brake_fraction"]
        # A rep that ends before it gets there cannot be late.
        late = row["late_us"] is not None and (fraction is None or fraction >= late_edge + NEAR_LATE)
        good = fraction is not None and fraction <= late_edge - NEAR_LATE
        if row["momentum"] and row["index"] in sounded:
            outcome.wrong_brakes.append(f"rep {row['index']}: late cue in a momentum rep")
        elif late and not row["momentum"] and row["index"] not in sounded:
            outcome.wrong_brakes.append(f"rep {row['index']}: no late cue, brake at {fraction}")
        elif good and row["index"] in sounded:
            outcome.wrong_brakes.append(f"rep {row['index']}: late cue, brake at {fraction:.2f}")
