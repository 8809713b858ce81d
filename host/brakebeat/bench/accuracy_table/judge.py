"""From samples to the table's lines: worst cases, where they are, and whether the limits hold."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from brakebeat.bench.accuracy_table.measure import SetResult
from brakebeat.bench.accuracy_table.rows import Row, Statistic

_WORST_KEPT = 5


@dataclass(frozen=True)
class Value:
    """One engine's figure on one kind of recording.

    Args:
        value: in the row's unit; None where there was nothing to measure.
        n: how many samples it rests on; ``silent`` of them without a figure.
        rms, p99: of the errors, in the row's unit; None for counts.
        worst: the worst cases, (seed, rep, error), worst first.
        ok: None where there is no limit or nothing to hold against it.
    """

    value: float | None
    n: int
    silent: int = 0
    rms: float | None = None
    p99: float | None = None
    limit: float | None = None
    ok: bool | None = None
    worst: list[tuple[int, int, float | None]] = field(default_factory=list)

    def to_document(self) -> dict[str, Any]:
        """For JSON."""
        cases = [{"seed": seed, "rep": rep, "error": error} for seed, rep, error in self.worst]
        return {**vars(self), "worst": cases}


@dataclass(frozen=True)
class Line:
    """A row on one kind of recording."""

    row: Row
    condition: str
    sets: int
    values: dict[str, Value]

    @property
    def failed(self) -> bool:
        """True where an engine breaks its limit."""
        return any(value.ok is False for value in self.values.values())

    def to_document(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "row": self.row.key,
            "figure": self.row.title,
            "on": self.row.on,
            "condition": self.condition,
            "sets": self.sets,
            **{engine: value.to_document() for engine, value in self.values.items()},
        }


def judge(rows: Iterable[Row], results: Sequence[SetResult], engines: Sequence[str]) -> list[Line]:
    """Every row on every one of its conditions that there are results for."""
    by_condition: dict[str, list[SetResult]] = {}
    for result in results:
        by_condition.setdefault(result.condition, []).append(result)
    lines = []
    for row in rows:
        for name in row.conditions:
            sets = by_condition.get(name, [])
            if sets:
                asked = [engine for engine in engines if engine in row.engines]
                values = {engine: _value(row, engine, sets) for engine in asked}
                told = _value(row, "turns_only", sets)
                if told.n:
                    values["turns_only"] = told
                if values:
                    lines.append(Line(row, name, len(sets), values))
    return lines


def _value(row: Row, engine: str, sets: list[SetResult]) -> Value:
    limit = None if engine == "turns_only" else row.limit(engine)
    found = [
        (one.seed, sample.rep, None if sample.error is None else sample.error * row.scale)
        for one in sets
        for sample in one.samples.get(engine, [])
        if sample.figure == row.figure
    ]
    errors = [error for _, _, error in found if error is not None]
    silent = len(found) - len(errors)
    badness = _BADNESS[row.statistic]
    worst = sorted(found, key=lambda case: math.inf if case[2] is None else badness(case[2]), reverse=True)
    if row.statistic == "count":
        worst = [case for case in worst if case[2]]
    value = _STATISTICS[row.statistic](errors) if errors else None
    spread = {} if row.statistic == "count" or not errors else _spread(errors)
    return Value(
        value,
        len(found),
        silent,
        limit=limit,
        ok=_holds(value, silent, limit),
        worst=worst[:_WORST_KEPT],
        **spread,
    )


def _holds(value: float | None, silent: int, limit: float | None) -> bool | None:
    """A figure that an engine keeps back is one that it does not have: that breaks a limit, too."""
    if limit is None:
        return None
    if value is None:
        return False if silent else None
    return value <= limit and not silent


def _spread(errors: list[float]) -> dict[str, float]:
    sizes = sorted(abs(error) for error in errors)
    return {
        "rms": math.sqrt(math.fsum(e * e for e in errors) / len(errors)),
        "p99": sizes[min(len(sizes) - 1, math.ceil(0.99 * len(sizes)) - 1)],
    }


_STATISTICS: dict[Statistic, Callable[[list[float]], float]] = {
    "count": lambda errors: float(sum(error != 0.0 for error in errors)),
    "worst": lambda errors: max(abs(error) for error in errors),
    "median": statistics.median,
    "latest": max,
    "earliest": lambda errors: -min(errors),
}
_BADNESS: dict[Statistic, Callable[[float], float]] = {
    "count": abs,
    "worst": abs,
    "median": float,
    "latest": float,
    "earliest": lambda error: -error,
}
