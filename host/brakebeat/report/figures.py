"""What a set, a session and a week add up to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import fmean
from typing import Literal

from brakebeat.store.queries import StoredSet
from brakebeat.store.rep_rows import StoredRep

Phase = Literal["concentric", "eccentric"]
# Figures of such reps are not to be built on; profiles and trends leave them out as well.
DOUBTFUL = frozenset({"few_edges", "gap"})
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


@dataclass(frozen=True)
class Timing:
    """How many reps were braked when; ``unknown``: it could not be told."""

    early: int = 0
    inside: int = 0
    late: int = 0
    none: int = 0
    unknown: int = 0

    @property
    def told(self) -> int:
        """Reps whose timing is known."""
        return self.early + self.inside + self.late + self.none


def timing_of(reps: Iterable[StoredRep]) -> Timing:
    """Counts of the reps' brake timing."""
    words = [rep.rep.brake_timing or "unknown" for rep in reps]
    return Timing(*(words.count(word) for word in ("early", "inside", "late", "none", "unknown")))


@dataclass(frozen=True)
class Above:
    """Reps whose peak force passed a force, of those that have one."""

    above: int
    of: int

    @property
    def share(self) -> float | None:
        """``above`` ÷ ``of``; None where no force is known."""
        return self.above / self.of if self.of else None


def above_force(reps: Iterable[StoredRep], phase: Phase, force_n: float) -> Above:
    """How many reps' peak force at the strap in one phase was greater than ``force_n``."""
    forces = known(reps, lambda rep: getattr(rep.rep, phase).peak_force_n)
    return Above(sum(force > force_n for force in forces), len(forces))


@dataclass(frozen=True)
class Dose:
    """What was done: reps without momentum reps and those taken out; energy over those whose energy is known."""

    sessions: int
    sets: int
    reps: int
    concentric_j: float
    eccentric_j: float


def dose_of(sets: Sequence[StoredSet]) -> Dose:
    """What some sets add up to."""
    reps = [rep for each in sets for rep in each.counting]
    return Dose(
        len({each.session_id for each in sets}),
        len(sets),
        len(reps),
        sum(known(reps, lambda rep: rep.rep.concentric.energy_j)),
        sum(known(reps, lambda rep: rep.rep.eccentric.energy_j)),
    )


def by_week(sets: Iterable[StoredSet], origin: date) -> dict[int, list[StoredSet]]:
    """Sets by weeks of seven days from ``origin``, which begins week 0; earlier weeks are negative."""
    weeks: dict[int, list[StoredSet]] = {}
    for each in sets:
        weeks.setdefault((each.started.date() - origin).days // 7, []).append(each)
    return weeks


def monday(day: date) -> date:
    """The Monday of a day's week."""
    return day - timedelta(days=day.weekday())
