"""What a part of ``brakebeat bench`` measured."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Figure:
    """One cell of a part's table.

    Args:
        what: the row, what was measured.
        figure: the column, which figure of it, without its unit.
        limit: None: told, not limited.
        at_least: the value must not be less than its limit (else not more).
    """

    what: str
    figure: str
    value: float
    unit: str
    limit: float | None = None
    at_least: bool = False

    @property
    def ok(self) -> bool | None:
        """Whether the limit holds; None where there is none."""
        if self.limit is None:
            return None
        return self.value >= self.limit if self.at_least else self.value <= self.limit

    def to_document(self) -> dict[str, Any]:
        """For JSON."""
        return {**vars(self), "ok": self.ok}


@dataclass(frozen=True)
class NotRun:
    """Something that belongs here and was not measured, and why."""

    what: str
    why: str


@dataclass
class Measured:
    """All of one part."""

    figures: list[Figure] = field(default_factory=list)
    not_run: list[NotRun] = field(default_factory=list)


@dataclass(frozen=True)
class Scale:
    """How much is measured. ``quick``: enough to see that it works; ``budget_s``: of a part that may take hours."""

    quick: bool = False
    budget_s: float = 600.0

    def of(self, whole: int, quick: int) -> int:
        """A size, by the scale."""
        return quick if self.quick else whole
