"""The outcome of looking at a recording, whoever looked: the board's firmware or the reference.

Both engines fill these classes; ``Analysis.to_document`` gives the JSON document of schema 1.
Times are whole microseconds on the recording's own clock, unwrapped; every other figure carries its SI unit
in its name. ``None`` stands for what cannot be known from the input.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass, field
from typing import Any, Literal

SCHEMA = 1

BrakeTiming = Literal["early", "inside", "late", "none"]
CueKind = Literal["window", "late", "drop_off", "set_done"]

# What `flags` of a rep may hold; the one list, quoted by DEVELOPERS.md.
FLAGS: dict[str, str] = {
    "few_edges": "too few edges in the rep for figures that rest on acceleration; those are null",
    "zero_assumed": "phi = 0 comes from this rep's own two turnarounds only, not from a history or a zero index",
    "repaired": "the angle count was repaired inside this rep (missed or spurious edges)",
    "thinned": "edges were thinned by a known factor before storing",
    "gap": "edges were lost inside this rep (a buffer overran): its figures are doubtful",
    "magnets_stale": "the rig file's magnet_offsets_rad do not fit what turns; they are not used",
}


@dataclass
class PhaseFigures:
    """Figures of one phase; torque, force, power and energy are the athlete's, positive numbers."""

    duration_s: float | None = None
    energy_j: float | None = None
    mean_power_w: float | None = None
    peak_power_w: float | None = None
    peak_torque_nm: float | None = None
    peak_force_n: float | None = None


@dataclass
class Rep:
    """One rep, turnaround to turnaround."""

    index: int
    momentum: bool
    start_us: int
    extension_us: int
    end_us: int
    peak_us: int
    peak_rad_s: float
    concentric_rad: float
    eccentric_rad: float
    brake_onset_us: int | None = None
    brake_fraction: float | None = None
    brake_timing: BrakeTiming | None = None
    concentric: PhaseFigures = field(default_factory=PhaseFigures)
    eccentric: PhaseFigures = field(default_factory=PhaseFigures)
    flags: list[str] = field(default_factory=list)
    # Standard uncertainties by figure name, where the engine states them (the reference does).
    uncertainty: dict[str, float] = field(default_factory=dict)

    @property
    def ratio_peak_power(self) -> float | None:
        """Eccentric over concentric peak power."""
        return _ratio(self.eccentric.peak_power_w, self.concentric.peak_power_w)

    @property
    def ratio_mean_power(self) -> float | None:
        """Eccentric over concentric mean power."""
        return _ratio(self.eccentric.mean_power_w, self.concentric.mean_power_w)

    def to_document(self) -> dict[str, Any]:
        """The rep as the JSON schema has it (``uncertainty`` only where it is stated)."""
        document: dict[str, Any] = dataclasses.asdict(self)
        uncertainty = document.pop("uncertainty")
        flags = document.pop("flags")
        document["ratio_peak_power"] = self.ratio_peak_power
        document["ratio_mean_power"] = self.ratio_mean_power
        document["flags"] = flags
        if uncertainty:
            document["uncertainty"] = uncertainty
        return document

    @classmethod
    def from_document(cls, document: dict[str, Any]) -> Rep:
        """The rep in a document of ``to_document``; ratios are worked out anew. Raises as ``Analysis``' does."""
        worked_out = ("ratio_peak_power", "ratio_mean_power")
        values = {name: value for name, value in document.items() if name not in worked_out}
        for phase in ("concentric", "eccentric"):
            values[phase] = PhaseFigures(**values[phase])
        return cls(**values)


@dataclass
class Cue:
    """A sound that the board made (or would have made) at ``t_us`` during rep ``rep``."""

    t_us: int
    rep: int
    kind: CueKind


@dataclass
class Quality:
    """Counters over the whole recording; ``None`` where the engine does not count it."""

    bounced: int | None = None
    missed: int | None = None
    spurious: int | None = None
    overrun: int | None = None
    incomplete: int | None = None


@dataclass
class Analysis:
    """All that an engine found in one recording."""

    engine: Literal["micropython", "cpython", "reference"]
    pulses: int
    reps: list[Rep] = field(default_factory=list)
    cues: list[Cue] = field(default_factory=list)
    quality: Quality = field(default_factory=Quality)
    # Inclusive index ranges of reps, momentum reps included.
    sets: list[tuple[int, int]] = field(default_factory=list)

    def to_document(self) -> dict[str, Any]:
        """The JSON document of schema 1; NaN and infinities become null."""
        document = {
            "schema": SCHEMA,
            "engine": self.engine,
            "pulses": self.pulses,
            "reps": [rep.to_document() for rep in self.reps],
            "sets": [{"first": first, "last": last} for first, last in self.sets],
            "cues": [dataclasses.asdict(cue) for cue in self.cues],
            "quality": dataclasses.asdict(self.quality),
        }
        return finite(document)

    @classmethod
    def from_document(cls, document: dict[str, Any]) -> Analysis:
        """The analysis in a JSON document that ``to_document`` made: the same one, but for NaN, now ``None``.

        Raises ``KeyError``, ``TypeError`` or ``AttributeError`` where it is no such document.
        """
        return cls(
            engine=document["engine"],
            pulses=document["pulses"],
            reps=[Rep.from_document(rep) for rep in document["reps"]],
            cues=[Cue(**cue) for cue in document["cues"]],
            quality=Quality(**document["quality"]),
            sets=[(one["first"], one["last"]) for one in document["sets"]],
        )


def finite(value: Any) -> Any:
    """``value`` with every float that is not finite replaced by ``None``, all through lists and dicts."""
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, dict):
        return {key: finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [finite(item) for item in value]
    return value


def _ratio(top: float | None, bottom: float | None) -> float | None:
    return None if top is None or not bottom else top / bottom


def split_sets(reps: list[Rep], rest_gap_s: float) -> list[tuple[int, int]]:
    """Inclusive index ranges of reps with no more than ``rest_gap_s`` between one's end and the next's start."""
    sets: list[tuple[int, int]] = []
    for position, rep in enumerate(reps):
        if position and rep.start_us - reps[position - 1].end_us <= rest_gap_s * 1e6:
            sets[-1] = (sets[-1][0], rep.index)
        else:
            sets.append((rep.index, rep.index))
    return sets
