"""What a training block is to be: the settings, with the trade's defaults.

Every default here is common practice without a source; each is a setting for that reason.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time, timedelta

from brakebeat.errors import InputError

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
# Which days of the week are taken first, by sessions a week.
_LONGEST = 80
_USUAL_DAYS = {1: (1,), 2: (0, 3), 3: (0, 2, 4), 4: (0, 1, 3, 4), 5: (0, 1, 2, 3, 4)}


def _checked_words(field: str, words: str) -> None:
    if not words or len(words) > _LONGEST or not words.isprintable():
        raise InputError(f"{field}: {words!r}: give 1 to {_LONGEST} printable characters")


@dataclass(frozen=True)
class Competition:
    """A competition: a day, and the hour where it is known (else it takes the whole day)."""

    day: date
    starts: time | None = None
    name: str = "competition"

    def __post_init__(self) -> None:
        _checked_words("competition", self.name)


@dataclass(frozen=True)
class BlockSettings:
    """A block. ``sets`` and ``reps`` are ranges: sets rise over the weeks, reps are a range to stay in.

    Args:
        start: the first day; weeks count from it.
        per_week: sessions a week.
        sets, reps: (fewest, most); momentum reps come on top of the reps.
        momentum_reps: reps of a set to get going with.
        in_season: (first day, last day) of stretches with ``per_week_in_season`` sessions a week.
        clear_h, clear_least_h: hours between a heavy session and a competition: aimed at, and at least.
        between_h: hours between two sessions for the same muscles, at least.
        most_per_week: more sessions a week than that for the same muscles draw a warning.
        days: weekdays to prefer, 0 is Monday; None leaves them to the number of sessions.
        unavailable: days without training.
        at, lasts_min: when a session starts, how long it takes.
    """

    start: date
    weeks: int = 8
    per_week: int = 2
    sets: tuple[int, int] = (3, 6)
    reps: tuple[int, int] = (6, 8)
    momentum_reps: int = 2
    rest_s: int = 180
    per_week_in_season: int = 1
    in_season: tuple[tuple[date, date], ...] = ()
    competitions: tuple[Competition, ...] = ()
    clear_h: float = 72.0
    clear_least_h: float = 48.0
    between_h: float = 48.0
    most_per_week: int = 3
    days: tuple[int, ...] | None = None
    unavailable: frozenset[date] = frozenset()
    at: time = time(18, 0)
    lasts_min: int = 60
    exercise: str = "flywheel session"

    def __post_init__(self) -> None:
        _checked_words("exercise", self.exercise)
        for name, low, high in (
            ("weeks", 1, 104),
            ("per_week", 1, 7),
            ("per_week_in_season", 0, 7),
            ("momentum_reps", 0, 50),
            ("rest_s", 0, 3600),
            ("clear_h", 0, 336),
            ("clear_least_h", 0, 336),
            ("between_h", 0, 168),
            ("most_per_week", 1, 7),
            ("lasts_min", 5, 600),
        ):
            if not low <= getattr(self, name) <= high:
                raise InputError(f"{name}: {getattr(self, name)} is outside {low} to {high}")
        for name, most in (("sets", 50), ("reps", 200)):
            low, high = getattr(self, name)
            if not 1 <= low <= high <= most:
                raise InputError(f"{name}: {low}-{high} must be a rising range within 1 to {most}")
        if self.clear_least_h > self.clear_h:
            raise InputError("clear_least_h: is greater than clear_h, what is aimed at; raise clear_h too")
        if self.days is not None and (not self.days or not set(self.days) <= set(range(7))):
            raise InputError("days: give weekdays, " + ", ".join(WEEKDAYS))
        for first, last in self.in_season:
            if last < first:
                raise InputError(f"in_season: {first} to {last} ends before it begins")
        if self.start > date.max - timedelta(weeks=self.weeks + 2):
            raise InputError(f"start: {self.start} is too late for a calendar")

    def usual_days(self, sessions: int) -> tuple[int, ...]:
        """The weekdays to prefer for so many sessions a week."""
        return self.days if self.days is not None else _USUAL_DAYS.get(sessions, tuple(range(7)))

    def is_in_season(self, day: date) -> bool:
        """Whether a day is in a stretch of the season."""
        return any(first <= day <= last for first, last in self.in_season)
