"""What an athlete did, set by set, as points for a profile and for trends."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from statistics import fmean

from brakebeat.store.sums import SetSums


@dataclass(frozen=True)
class SetPoint:
    """One set: means over its reps that count (momentum, doubtful and taken-out ones left out).

    ``late_share``: part of the reps braked late or not at all, None where no rep's timing is known.
    ``peak_stands_in``: the speed at φ = 0 was not known for each rep, the peak speed stood in.
    """

    where: str
    started: datetime
    session_id: int
    inertia_kg_m2: float
    reps: int
    mean_acceleration_rad_s2: float
    peak_velocity_rad_s: float
    mean_power_w: float
    late_share: float | None
    peak_stands_in: bool


@dataclass(frozen=True)
class LeftOut:
    """A set that gives no point, and why."""

    where: str
    reason: str


def left_out_words(left_out: Sequence[LeftOut]) -> list[str]:
    """The sets by their reasons, a few of each named: `1.1, 1.2: no rep that counts has a power`."""
    reasons: dict[str, list[str]] = {}
    for each in left_out:
        reasons.setdefault(each.reason, []).append(each.where)
    return [
        f"{', '.join(places[:6])}{f' and {len(places) - 6} more' if len(places) > 6 else ''}: {reason}"
        for reason, places in reasons.items()
    ]


def set_points(sets: Iterable[SetSums]) -> tuple[list[SetPoint], list[LeftOut]]:
    """The points of the sets that give one, and the others with the reason."""
    points: list[SetPoint] = []
    left_out: list[LeftOut] = []
    for each in sets:
        found = _point(each)
        if isinstance(found, SetPoint):
            points.append(found)
        else:
            left_out.append(LeftOut(f"{each.session_id}.{each.position}", found))
    return points, left_out


def _point(each: SetSums) -> SetPoint | str:
    if each.inertia_kg_m2 is None:
        return "the rig's inertia is not known (`brakebeat log edit SET rig=FILE`)"
    reps = each.working
    acceleration, power = reps.acceleration_rad_s2.mean, reps.power_w.mean
    if acceleration is None or power is None:
        return "no rep that counts has a power"
    return SetPoint(
        where=f"{each.session_id}.{each.position}",
        started=each.started,
        session_id=each.session_id,
        inertia_kg_m2=each.inertia_kg_m2,
        reps=reps.reps,
        mean_acceleration_rad_s2=acceleration,
        peak_velocity_rad_s=reps.peak_rad_s.total / reps.peak_rad_s.reps,
        mean_power_w=power,
        late_share=reps.timing.late_share,
        peak_stands_in=reps.peak_stands_in > 0,
    )


@lru_cache(maxsize=256)
def inertia_key(inertia_kg_m2: float) -> float:
    """What counts as one inertia: three digits, finer than any wheel's own uncertainty."""
    return float(f"{inertia_kg_m2:.3g}")


def by_inertia(points: Sequence[SetPoint]) -> list[SetPoint]:
    """One point an inertia, the lightest first: means over its sets.

    What a curve misses, it misses at all sets of an inertia alike: more sets of the same make no more points.
    """
    groups: dict[float, list[SetPoint]] = {}
    for point in points:
        groups.setdefault(inertia_key(point.inertia_kg_m2), []).append(point)
    return [_mean(group) for _, group in sorted(groups.items())]


def _mean(points: Sequence[SetPoint]) -> SetPoint:
    known = [(point.late_share, point.reps) for point in points if point.late_share is not None]
    reps = sum(count for _, count in known)
    return SetPoint(
        where=", ".join(point.where for point in points),
        started=min(point.started for point in points),
        session_id=points[0].session_id,
        inertia_kg_m2=fmean(point.inertia_kg_m2 for point in points),
        reps=sum(point.reps for point in points),
        mean_acceleration_rad_s2=fmean(point.mean_acceleration_rad_s2 for point in points),
        peak_velocity_rad_s=fmean(point.peak_velocity_rad_s for point in points),
        mean_power_w=fmean(point.mean_power_w for point in points),
        late_share=sum(share * count for share, count in known) / reps if reps else None,
        peak_stands_in=any(point.peak_stands_in for point in points),
    )
