"""What a set, a session and a week add up to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import fmean

from brakebeat.store.queries import StoredSet
from brakebeat.store.rep_rows import DOUBTFUL, StoredRep
from brakebeat.store.sums import SetSums, Sum, Timing

WELL_TIMED = "inside"


def working(each: StoredSet) -> list[StoredRep]:
    """The reps that a set's figures rest on: no momentum reps, none taken out by hand, none doubtful."""
    return [rep for rep in each.counting if not DOUBTFUL.intersection(rep.rep.flags)]


def known(reps: Iterable[StoredRep], figure: Callable[[StoredRep], float | None]) -> list[float]:
    """A figure of the reps that have it."""
    return [value for value in map(figure, reps) if value is not None]


def mean_of(reps: Iterable[StoredRep], figure: Callable[[StoredRep], float | None]) -> float | None:
    """The mean of a figure over the reps that have it, None where none has."""
    values = known(reps, figure)
    return fmean(values) if values else None


def mean_power_w(rep: StoredRep) -> float | None:
    """Concentric mean power."""
    return rep.rep.concentric.mean_power_w


def peak_rad_s(rep: StoredRep) -> float:
    """Peak angular velocity."""
    return rep.rep.peak_rad_s


def best_of(reps: Sequence[StoredRep]) -> StoredRep | None:
    """The rep of the greatest concentric mean power; of the greatest peak where no power is known."""
    if not reps:
        return None
    return max(
        reps, key=lambda rep: (mean_power_w(rep) is not None, mean_power_w(rep) or 0.0, rep.rep.peak_rad_s)
    )


def drops(reps: Sequence[StoredRep], figure: Callable[[StoredRep], float | None]) -> list[tuple[int, float]]:
    """(number of the rep, share by which it falls short of the set's best) for each rep that has the figure."""
    best = max(known(reps, figure), default=0.0)
    if best <= 0.0:
        return []
    return [(rep.number, 1.0 - value / best) for rep in reps if (value := figure(rep)) is not None]


def timing_of(reps: Iterable[StoredRep]) -> Timing:
    """Counts of the reps' brake timing."""
    words = [rep.rep.brake_timing or "unknown" for rep in reps]
    return Timing(*(words.count(word) for word in ("early", "inside", "late", "none", "unknown")))


def sum_of(sets: Iterable[SetSums], figure: Callable[[SetSums], Sum]) -> Sum:
    """A figure over the working reps of all sets."""
    sums = [figure(each) for each in sets]
    return Sum(sum(each.total for each in sums), sum(each.reps for each in sums))


def greatest_of(sets: Iterable[SetSums], figure: Callable[[SetSums], float | None]) -> float | None:
    """The greatest of a figure over all sets, None where none has it."""
    return max((value for value in map(figure, sets) if value is not None), default=None)


def timing_of_sets(sets: Iterable[SetSums]) -> Timing:
    """Counts of the brake timing of all sets' working reps."""
    return Timing(*map(sum, zip(*(each.working.timing for each in sets), strict=True)))


@dataclass(frozen=True)
class Dose:
    """What was done: reps without momentum reps and those taken out; energy over those whose energy is known."""

    sessions: int
    sets: int
    reps: int
    concentric_j: float
    eccentric_j: float


def dose_of(sets: Sequence[SetSums]) -> Dose:
    """What some sets add up to."""
    return Dose(
        len({each.session_id for each in sets}),
        len(sets),
        sum(each.counting for each in sets),
        sum(each.concentric_j for each in sets),
        sum(each.eccentric_j for each in sets),
    )


def monday(day: date) -> date:
    """The Monday of a day's week."""
    return day - timedelta(days=day.weekday())
