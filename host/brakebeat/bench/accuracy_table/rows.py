"""The accuracy table: which figure is measured on which recordings, and how good each engine must be."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

Statistic = Literal["count", "worst", "median", "latest", "earliest"]

_CLEAN = ("clean-6", "clean-12", "clean-24", "partial-6", "quadrature-96", "quadrature-2400")
_PAUSED_CLEAN = ("paused-6", "paused-quadrature-96")
_DIRTY = ("dirty-6", "dirty-12", "dirty-24")
_FEW = ("clean-2", "dirty-2", "clean-4", "dirty-4")
_CALIBRATED = ("calibrated-6", "calibrated-24")
_VARIED_CLEAN, _VARIED_DIRTY = ("varied-6", "varied-24"), ("varied-dirty-6",)
_VARIED = (*_VARIED_CLEAN, *_VARIED_DIRTY)


@dataclass(frozen=True)
class Row:
    """One line of the table.

    Args:
        key: what ``--only`` calls it.
        title: figure and unit.
        on: on what recordings, in words; ``conditions`` are those.
        figure: what is measured (``measure.Sample.figure``).
        statistic: "count" of reps for which the figure is not 0; "worst" is the greatest magnitude; "latest"
            the greatest error, "earliest" the least one with its sign turned.
        scale: what an error is multiplied with to get ``title``'s unit.
        firmware, reference: limits in that unit; None: measured, no limit.
        engines: which engines have the figure at all.
    """

    key: str
    title: str
    on: str
    figure: str
    conditions: tuple[str, ...]
    statistic: Statistic = "worst"
    scale: float = 1.0
    firmware: float | None = None
    reference: float | None = None
    engines: tuple[str, ...] = ("firmware", "reference")

    def limit(self, engine: str) -> float | None:
        """The limit for an engine."""
        return self.firmware if engine == "firmware" else self.reference


def _count(key: str, on: str, conditions: tuple[str, ...]) -> tuple[Row, Row]:
    return (
        Row(f"missed{key}", "reps missed", on, "missed", conditions, "count", 1.0, 0, 0),
        Row(f"invented{key}", "reps invented", on, "invented", conditions, "count", 1.0, 0, 0),
    )


def _both(limits: tuple[float, ...]) -> tuple[float | None, float | None]:
    return (limits[0], limits[1]) if limits else (None, None)


def _percent(key: str, title: str, on: str, figure: str, where: tuple[str, ...], *limits: float) -> Row:
    return Row(key, f"{title}, %", on, figure, where, "worst", 100.0, *_both(limits))


def _plain(key: str, title: str, on: str, figure: str, where: tuple[str, ...], *limits: float) -> Row:
    return Row(key, title, on, figure, where, "worst", 1.0, *_both(limits))


def _ms(key: str, on: str, figure: str, where: tuple[str, ...], *limits: float) -> Row:
    return Row(key, "start or end error, ms", on, figure, where, "worst", 1.0, *_both(limits))


def _cue(
    key: str, title: str, on: str, figure: str, where: tuple[str, ...], how: Statistic, most: float | None
) -> Row:
    return Row(key, title, on, figure, where, how, 1.0, most, None, ("firmware",))


def _cues(suffix: str, on: str, where: tuple[str, ...], limited: bool) -> tuple[Row, ...]:
    def most(value: float) -> float | None:
        return value if limited else None

    return (
        _cue(f"cue-missing{suffix}", "truly late, no late cue", on, "cue_missing", where, "count", most(0)),
        _cue(f"cue-false{suffix}", "truly good, late cue", on, "cue_false", where, "count", most(0)),
        _cue(
            f"cue-median{suffix}",
            "cue after late angle, median ms",
            on,
            "cue_delay",
            where,
            "median",
            most(10),
        ),
        _cue(
            f"cue-worst{suffix}", "cue after late angle, worst ms", on, "cue_delay", where, "latest", most(20)
        ),
        _cue(f"cue-early{suffix}", "cue before late angle, ms", on, "cue_delay", where, "earliest", most(5)),
    )


_SIX = ">= 6 edges/rev"
_ANY = (
    *_FEW,
    *_CLEAN,
    *_DIRTY,
    *_PAUSED_CLEAN,
    "paused-dirty-6",
    "jitter-6",
    "hysteresis-6",
    "placed-6",
    "placed-12",
)

_ROWS: tuple[Row, ...] = (
    *_count("", ">= 2 edges/rev", _ANY),
    *_count("-1", "1 edge/rev, clean", ("clean-1",)),
    _percent("peak-clean", "peak speed", ">= 4 edges/rev, clean", "peak", ("clean-4", *_CLEAN), 0.3, 0.15),
    _percent(
        "peak-placed",
        "peak speed",
        "1° placement, 5 reps learnt",
        "peak",
        ("placed-6", "placed-12"),
        0.5,
        0.2,
    ),
    _percent("peak-dirty", "peak speed", f"{_SIX}, dirty", "peak", _DIRTY, 1.0, 0.5),
    _percent("peak-jitter", "peak speed", "6 magnets, 150 µs jitter", "peak", ("jitter-6",), 1.0, 0.5),
    _percent(
        "peak-few",
        "peak speed",
        "1, 2 edges/rev; 4, dirty",
        "peak",
        ("clean-1", "clean-2", "dirty-2", "dirty-4"),
    ),
    _ms("turn-straight", f"{_SIX}, clean, straight round", "turn_straight", _CLEAN, 6, 4),
    _ms("turn-dirty", "dirty, or hysteresis above 1°", "turn_straight", (*_DIRTY, "hysteresis-6"), 20, 12),
    _ms(
        "turn-paused",
        "pause at the bottom; first start, last end",
        "turn_paused",
        (*_PAUSED_CLEAN, "paused-dirty-6", *_CLEAN, *_DIRTY, "hysteresis-6"),
        25,
        15,
    ),
    _plain("fraction-clean", "brake fraction", f"{_SIX}, clean", "brake_fraction", _CLEAN, 0.04, 0.02),
    _plain("fraction-dirty", "brake fraction", f"{_SIX}, dirty", "brake_fraction", _DIRTY, 0.06, 0.04),
    _plain(
        "fraction-calibrated",
        "brake fraction",
        "clean, edge nearest φ = 0 known",
        "brake_fraction",
        _CALIBRATED,
        0.04,
        0.02,
    ),
    _percent("energy-clean", "energy", f"{_SIX}, clean", "energy", _CLEAN, 1.5, 0.7),
    _percent("energy-dirty", "energy", f"{_SIX}, dirty", "energy", _DIRTY, 3.0, 1.5),
    _percent("power-clean", "peak power", f"{_SIX}, clean", "peak_power", _CLEAN, 4.0, 2.0),
    _percent("power-dirty", "peak power", f"{_SIX}, dirty", "peak_power", _DIRTY, 10.0, 7.0),
    *_cues("", _SIX, (*_CLEAN, *_DIRTY), True),
    *_cues("-calibrated", "clean, edge nearest φ = 0 known", _CALIBRATED, True),
    *_cues("-few", "1, 2, 4 edges/rev", ("clean-1", "clean-2", "clean-4", "dirty-2", "dirty-4"), False),
)

# Rows that hold for other athletes on other rigs as well, and on what of theirs.
_AS_VARIED = {
    "missed": ("varied, clean or dirty", _VARIED),
    "invented": ("varied, clean or dirty", _VARIED),
    "peak-clean": ("varied, clean", _VARIED_CLEAN),
    "peak-dirty": ("varied, dirty", _VARIED_DIRTY),
    "turn-straight": ("varied, clean, straight round", _VARIED_CLEAN),
    "turn-dirty": ("varied, dirty, straight round", _VARIED_DIRTY),
    "turn-paused": ("varied: first start, last end", _VARIED),
    "fraction-clean": ("varied, clean", _VARIED_CLEAN),
    "fraction-dirty": ("varied, dirty", _VARIED_DIRTY),
    "energy-clean": ("varied, clean", _VARIED_CLEAN),
    "energy-dirty": ("varied, dirty", _VARIED_DIRTY),
    "power-clean": ("varied, clean", _VARIED_CLEAN),
    "power-dirty": ("varied, dirty", _VARIED_DIRTY),
    "cue-missing": ("varied, clean or dirty", _VARIED),
    "cue-false": ("varied, clean or dirty", _VARIED),
    "cue-median": ("varied, clean or dirty", _VARIED),
    "cue-worst": ("varied, clean or dirty", _VARIED),
    "cue-early": ("varied, clean or dirty", _VARIED),
}

ROWS = _ROWS + tuple(
    replace(row, key=f"{row.key}-varied", on=_AS_VARIED[row.key][0], conditions=_AS_VARIED[row.key][1])
    for row in _ROWS
    if row.key in _AS_VARIED
)
