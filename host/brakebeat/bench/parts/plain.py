"""Firmware and reference beside what one would write instead (``homespun``): error and speed on the same recordings.

The errors are of the reps' peak speed against the simulator's truth; all three see whole recordings and are told
nothing. ``bench.compare`` has plain methods that are told where each rep is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial

from brakebeat.bench.accuracy_table.conditions import CONDITIONS, SEED_FROM
from brakebeat.bench.parts.figure import Figure, Measured, Scale
from brakebeat.bench.parts.processor import processor_s
from brakebeat.bench.peak_methods.homespun import homespun
from brakebeat.board import replay
from brakebeat.formats.recording import Recording
from brakebeat.reference import analyse
from brakebeat.simulate.sensing import Sensed

KINDS = ("clean-6", "dirty-6", "quadrature-96")
Peaks = list[tuple[int, float]]


def _homespun(recording: Recording) -> Peaks:
    return [(peak.t_us, peak.peak_rad_s) for peak in homespun(recording)]


def _firmware(recording: Recording) -> Peaks:
    return [(rep.peak_us, rep.peak_rad_s) for rep in replay(recording).reps]


def _reference(recording: Recording) -> Peaks:
    return [(rep.peak_us, rep.peak_rad_s) for rep in analyse(recording).reps]


METHODS: dict[str, Callable[[Recording], Peaks]] = {
    "NumPy and find_peaks": _homespun,
    "firmware": _firmware,
    "reference": _reference,
}


@dataclass
class Score:
    """One method on one kind of recording."""

    errors: list[float] = field(default_factory=list)
    missed: int = 0
    invented: int = 0
    edges: int = 0
    seconds: float = 0.0

    def add(self, sensed: Sensed, peaks: Peaks) -> None:
        """Judge one recording: a true rep is found where a peak lies within it, any other peak is invented."""
        taken = set()
        for rep in sensed.truth["reps"]:
            inside = [
                place for place, (t_us, _) in enumerate(peaks) if rep["start_us"] <= t_us <= rep["end_us"]
            ]
            # Of several, the nearest in time is the rep, the others are invented.
            best = min(inside, key=lambda place: abs(peaks[place][0] - rep["peak_us"]), default=None)
            if best is None:
                self.missed += 1
            else:
                taken.add(best)
                self.errors.append(peaks[best][1] / rep["peak_rad_s"] - 1.0)
        self.invented += len(peaks) - len(taken)
        self.edges += len(sensed.recording.t_us)


def measure(scale: Scale) -> Measured:
    """Every method on every kind."""
    measured = Measured()
    for kind in KINDS:
        condition = CONDITIONS[kind]
        sensed = [condition.sensed(seed) for seed in condition.seeds(SEED_FROM, scale.of(10, 1))]
        for method, peaks_of in METHODS.items():
            measured.figures += _figures(f"{kind}: {method}", scored(sensed, peaks_of))
    return measured


def scored(recordings: Sequence[Sensed], peaks_of: Callable[[Recording], Peaks]) -> Score:
    """One method on recordings whose truth is known."""
    score = Score()
    for sensed in recordings:
        peaks, seconds = processor_s(partial(peaks_of, sensed.recording))
        score.seconds += seconds
        score.add(sensed, peaks)
    return score


def _figures(what: str, score: Score) -> list[Figure]:
    reps = len(score.errors) + score.missed
    figures = [
        Figure(what, "reps", reps, ""),
        Figure(what, "missed", score.missed, ""),
        Figure(what, "invented", score.invented, ""),
    ]
    if score.errors:
        rms = math.sqrt(math.fsum(error * error for error in score.errors) / len(score.errors))
        worst = max(abs(error) for error in score.errors)
        figures.append(Figure(what, "error of the peak speed, rms", 100 * rms, "%"))
        figures.append(Figure(what, "worst", 100 * worst, "%"))
    return [*figures, Figure(what, "pace", score.edges / score.seconds, "edges/s")]
