"""The log's commands with years of daily sessions in the store: ``bench.store``."""

from __future__ import annotations

from brakebeat.bench.parts.figure import Figure, Measured, Scale
from brakebeat.bench.store import measured

DAYS = 1826


def measure(scale: Scale) -> Measured:
    """Seconds of processor of each command (the interpreter's start included), on the clock beside."""
    filled = measured(scale.of(DAYS, 20))
    figures = [Figure(f"{filled.reps:,} reps in the store", "size", filled.size_bytes / 1e6, "MB")]
    for what, (took_s, busy_s) in filled.seconds.items():
        figures.append(Figure(what, "of processor", busy_s, "s"))
        figures.append(Figure(what, "on the clock", took_s, "s"))
    return Measured(figures)
