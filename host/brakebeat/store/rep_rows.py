"""Reps as rows of the store and back."""

from __future__ import annotations

import json
import math
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

from brakebeat.results import PhaseFigures, Rep, finite

# Flags of reps whose figures are not to be built on: profiles, trends and means leave them out.
DOUBTFUL = frozenset({"few_edges", "gap"})
PHASES = ("concentric", "eccentric")
_PHASE_COLUMNS = tuple(f"{phase}_{field.name}" for phase in PHASES for field in fields(PhaseFigures))

# The columns of table rep in order, without the computation.
COLUMNS: tuple[str, ...] = (
    "rep_index",
    "momentum",
    "start_us",
    "extension_us",
    "end_us",
    "peak_us",
    "peak_rad_s",
    "extension_rad_s",
    "concentric_rad",
    "eccentric_rad",
    "brake_onset_us",
    "brake_fraction",
    "brake_timing",
    *_PHASE_COLUMNS,
    "flags",
    "uncertainty",
)
INSERT = (
    f"INSERT INTO rep (computation_id, {', '.join(COLUMNS)}) VALUES ({', '.join('?' * (len(COLUMNS) + 1))})"
)
_FIGURES = len(fields(PhaseFigures))
_PLAIN = ("start_us", "extension_us", "end_us", "peak_us", "peak_rad_s", "concentric_rad", "eccentric_rad")
_BRAKE = ("brake_onset_us", "brake_fraction", "brake_timing")


@dataclass(frozen=True)
class StoredRep:
    """One rep of a set as the store has it.

    ``number`` counts the reps of its set from 1, momentum reps and those taken out by hand included.
    ``extension_rad_s``: speed at φ = 0, where the raw edges told it. ``marked``: taken out by hand.
    """

    rep: Rep
    number: int
    extension_rad_s: float | None
    marked: bool

    @property
    def counts(self) -> bool:
        """Whether the rep belongs into its set's figures."""
        return not self.rep.momentum and not self.marked

    @property
    def mean_acceleration_rad_s2(self) -> float | None:
        """Mean concentric angular acceleration: speed at φ = 0 ÷ concentric duration.

        The peak stands in where only the board's figures are there: it lies just before φ = 0 and is greater.
        """
        duration_s = self.rep.concentric.duration_s
        if not duration_s:
            duration_s = (self.rep.extension_us - self.rep.start_us) * 1e-6
        speed = self.rep.peak_rad_s if self.extension_rad_s is None else self.extension_rad_s
        return speed / duration_s if duration_s > 0 else None


def to_row(rep: Rep, extension_rad_s: float | None = None) -> tuple[Any, ...]:
    """The values of ``COLUMNS``."""
    phases = [getattr(getattr(rep, phase), field.name) for phase in PHASES for field in fields(PhaseFigures)]
    row = (
        rep.index,
        int(rep.momentum),
        *(getattr(rep, name) for name in _PLAIN[:-2]),
        extension_rad_s,
        *(getattr(rep, name) for name in _PLAIN[-2:]),
        *(getattr(rep, name) for name in _BRAKE),
        *phases,
        " ".join(rep.flags),
        json.dumps(finite(rep.uncertainty)) if rep.uncertainty else None,
    )
    return tuple(exportable(value) for value in row)


def exportable(value: Any) -> Any:
    """A float with the 15 digits that every export carries, so that it comes back as it was; others as are.

    What is not finite becomes None.
    """
    return float(f"{value:.15g}") if isinstance(value, float) and math.isfinite(value) else finite(value)


def from_row(row: sqlite3.Row) -> Rep:
    """The rep of a row of table rep, all its columns in order (by place: a report reads 100,000 of them)."""
    _, index, momentum, start_us, extension_us, end_us, peak_us, peak_rad_s, _, *rest = row
    (
        concentric_rad,
        eccentric_rad,
        brake_onset_us,
        brake_fraction,
        brake_timing,
        *figures,
        flags,
        uncertainty,
    ) = rest
    return Rep(
        index,
        bool(momentum),
        start_us,
        extension_us,
        end_us,
        peak_us,
        peak_rad_s,
        concentric_rad,
        eccentric_rad,
        brake_onset_us,
        brake_fraction,
        brake_timing,
        PhaseFigures(*figures[:_FIGURES]),
        PhaseFigures(*figures[_FIGURES:]),
        flags.split(),
        json.loads(uncertainty) if uncertainty else {},
    )


def numbered(rows: Sequence[sqlite3.Row], marks_us: Sequence[int]) -> list[StoredRep]:
    """A set's reps from its rows in order; ``marks_us`` are instants inside reps taken out by hand."""
    return [
        StoredRep(
            from_row(row),
            number,
            row["extension_rad_s"],
            any(row["start_us"] <= mark < row["end_us"] for mark in marks_us),
        )
        for number, row in enumerate(rows, 1)
    ]
