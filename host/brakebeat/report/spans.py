"""Long times in few marks: a mark a session where there are few of them, a week, month or year where there are many."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from datetime import date
from typing import Literal, TypeVar

from brakebeat.report.figures import monday

T = TypeVar("T")
Span = Literal["session", "week", "month", "year"]
# In a picture as wide as a phone, more than that run into each other.
MOST_MARKS = 100
_DAYS_WITH_YEAR = 300

_SPAN_OF: dict[Span, Callable[[int, date], Hashable]] = {
    "session": lambda place, day: place,
    "week": lambda place, day: monday(day),
    "month": lambda place, day: (day.year, day.month),
    "year": lambda place, day: day.year,
}


def in_spans(
    items: Iterable[T], day_of: Callable[[T], date], finest: Span = "session"
) -> tuple[Span, list[list[T]]]:
    """Items in order of time, grouped by the shortest span that leaves few enough groups, ``finest`` or longer."""
    there = list(items)
    spans = list(_SPAN_OF)[list(_SPAN_OF).index(finest) :]
    for span in spans:
        groups: dict[Hashable, list[T]] = {}
        for place, item in enumerate(there):
            groups.setdefault(_SPAN_OF[span](place, day_of(item)), []).append(item)
        if len(groups) <= MOST_MARKS:
            break
    return span, list(groups.values())


def day_words(first: date, last: date) -> str:
    """How to write a day on an axis from ``first`` to ``last``, for ``format``."""
    return "%b %Y" if (last - first).days > _DAYS_WITH_YEAR else "%d %b"
