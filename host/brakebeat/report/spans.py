"""Long times in few marks: a mark a session where there are few of them, a week, month or year where there are many."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from datetime import date, timedelta
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


def days_of(span: Span, day: date) -> tuple[date, date]:
    """First and last day of the calendar month or year that ``day`` is in (a week: of the seven days from it)."""
    if span == "week":
        return day, day + timedelta(days=6)
    begin = day.replace(day=1) if span == "month" else date(day.year, 1, 1)
    after = (begin + timedelta(days=32 if span == "month" else 366)).replace(day=1)
    return begin, after - timedelta(days=1)


def ticks(days: Sequence[date]) -> tuple[tuple[float, str], ...]:
    """Words at places 0, 1, … of an axis for some of the days, as many as fit."""
    written = day_words(days[0], days[-1])
    every = 1 + (len(days) - 1) // (4 if "%Y" in written else 6)
    return tuple((float(place), format(day, written)) for place, day in enumerate(days))[::every]


def day_words(first: date, last: date) -> str:
    """How to write a day on an axis from ``first`` to ``last``, for ``format``."""
    return "%b %Y" if (last - first).days > _DAYS_WITH_YEAR else "%d %b"
