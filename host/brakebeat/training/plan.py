"""Lays a block out: which days, how much, and a reason wherever it warns."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from brakebeat.training.block import BlockSettings, Competition
from brakebeat.wording import counted

# Said wherever a plan puts a heavy session near a competition.
RECOVERY = (
    "published recovery can take longer than the usual 48-72 h: eccentric hamstring strength was lowest at "
    "40-48 h and not fully back until 96 h after match-like work (Rhodes, McNaughton and Greig 2019), local "
    "fatigue was back at 82 h (SCIREA J Health 2020;4(1):1-15)"
)
CAUTIONS = (
    "Not medical advice. Stop at pain; with an injury, or new to eccentric work, ask a professional first.",
    "Keep hair, sleeves, fingers and children away from wheel and strap; let the wheel stop before you touch it.",
)


@dataclass(frozen=True)
class PlannedSession:
    """One session: when, how much, and what is to be said about it."""

    starts: datetime
    week: int
    sets: int
    reps: tuple[int, int]
    momentum_reps: int
    rest_s: int
    in_season: bool
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Plan:
    """A block laid out; local times. ``warnings`` are about the whole or about weeks."""

    settings: BlockSettings
    sessions: tuple[PlannedSession, ...]
    warnings: tuple[str, ...]

    @property
    def title(self) -> str:
        """What to call it."""
        s = self.settings
        return f"{s.exercise}, {counted(s.weeks, 'week')} from {s.start:%Y-%m-%d}"


def lay_out(settings: BlockSettings) -> Plan:
    """Choose the days of every week, the best choice first; fewer sessions where no choice keeps clear."""
    sessions: list[PlannedSession] = []
    warnings = _about_the_whole(settings)
    for week in range(settings.weeks):
        found, said = _week(settings, week, sessions[-1].starts if sessions else None)
        sessions += found
        warnings += said
    return Plan(settings, tuple(sessions), tuple(warnings))


def _about_the_whole(settings: BlockSettings) -> list[str]:
    said = []
    if settings.per_week > settings.most_per_week:
        said.append(
            f"{settings.per_week} sessions a week are more than {settings.most_per_week} for the same muscles "
            "(common practice, no source): share them out over different muscles"
        )
    if not 5 <= settings.weeks <= 10:
        said.append(f"{settings.weeks} weeks: blocks of 5 to 10 weeks are common practice (no source)")
    last = settings.start + timedelta(weeks=settings.weeks)
    outside = [c for c in settings.competitions if not settings.start <= c.day < last + timedelta(days=7)]
    said += [f"{c.name} on {c.day} is outside the block: it moves nothing" for c in outside]
    if len(outside) < len(settings.competitions) and settings.clear_h < 96.0:
        said.append(f"heavy sessions keep {settings.clear_h:g} h clear of competition; {RECOVERY}")
    return said


def _week(
    settings: BlockSettings, week: int, last: datetime | None
) -> tuple[list[PlannedSession], list[str]]:
    first_day = settings.start + timedelta(weeks=week)
    days = _days(first_day)
    season = any(settings.is_in_season(day) for day in days)
    wanted = settings.per_week_in_season if season else settings.per_week
    usual = settings.usual_days(wanted)
    free = [day for day in days if day not in settings.unavailable]
    for count in range(min(wanted, len(free)), -1, -1):
        choices = [c for c in itertools.combinations(free, count) if _allowed(settings, c, last)]
        if choices:
            chosen = min(choices, key=lambda choice: _badness(settings, choice, usual))
            break
    said = []
    if len(chosen) < wanted:
        said.append(_why_fewer(settings, week, wanted, len(chosen), free))
    return [_session(settings, week, day, season) for day in chosen], said


def _starts(settings: BlockSettings, day: date) -> datetime:
    return datetime.combine(day, settings.at)


def clearance_h(settings: BlockSettings, day: date, competition: Competition) -> float:
    """Hours between a session on ``day`` and a competition, whichever comes first; below 0 if they overlap.

    A competition without an hour takes its whole day.
    """
    starts = _starts(settings, day)
    ends = starts + timedelta(minutes=settings.lasts_min)
    begins = datetime.combine(competition.day, competition.starts or time())
    over = begins if competition.starts else begins + timedelta(days=1)
    gap = begins - ends if starts < begins else starts - over
    return gap.total_seconds() / 3600.0


def _allowed(settings: BlockSettings, choice: Sequence[date], last: datetime | None) -> bool:
    if any(
        clearance_h(settings, day, c) < settings.clear_least_h
        for day in choice
        for c in settings.competitions
    ):
        return False
    starts = [_starts(settings, day) for day in choice]
    times = starts if last is None else [last, *starts]
    # More sessions a week than fit this far apart were asked for knowingly.
    least = min(settings.between_h, 24.0 * (7 // max(settings.per_week, 1)))
    return all(b - a >= timedelta(hours=least) for a, b in itertools.pairwise(times))


def _badness(settings: BlockSettings, choice: Sequence[date], usual: Collection[int]) -> tuple[float, ...]:
    short = sum(
        max(0.0, settings.clear_h - clearance_h(settings, day, c))
        for day in choice
        for c in settings.competitions
    )
    unusual = sum(day.weekday() not in usual for day in choice)
    gaps = [(b - a).days for a, b in itertools.pairwise(choice)]
    uneven = sum(abs(gap - 7 / max(len(choice), 1)) for gap in gaps)
    return short, unusual + _crowds(settings, choice, usual), uneven, sum(day.toordinal() for day in choice)


def _crowds(settings: BlockSettings, choice: Sequence[date], usual: Collection[int]) -> bool:
    """Whether the last day leaves next week's first usual day too near."""
    if not choice or not usual:
        return False
    next_week = settings.start + timedelta(weeks=(choice[-1] - settings.start).days // 7 + 1)
    first = next(day for day in _days(next_week) if day.weekday() in usual)
    return (first - choice[-1]) < timedelta(hours=settings.between_h)


def _days(first: date) -> list[date]:
    return [first + timedelta(days=number) for number in range(7)]


def _why_fewer(settings: BlockSettings, week: int, wanted: int, got: int, free: Sequence[date]) -> str:
    first = settings.start + timedelta(weeks=week)
    near = [
        c
        for c in settings.competitions
        if any(clearance_h(settings, day, c) < settings.clear_least_h for day in free)
    ]
    reasons = []
    if near:
        names = ", ".join(f"{c.name} on {c.day}" for c in near)
        reasons.append(f"{names} leaves no other day {settings.clear_least_h:g} h clear")
    if len(free) < 7:
        reasons.append(f"{7 - len(free)} days are not available")
    reasons.append(f"sessions keep {settings.between_h:g} h apart")
    return f"week {week + 1} (from {first}): {got} of {wanted} sessions, since {' and '.join(reasons)}"


def _session(settings: BlockSettings, week: int, day: date, season: bool) -> PlannedSession:
    fewest, most = settings.sets
    share = week / (settings.weeks - 1) if settings.weeks > 1 else 0.0
    sets = fewest if season else round(fewest + share * (most - fewest))
    near = [
        f"{clearance_h(settings, day, c):.0f} h from {c.name} on {c.day}, less than the {settings.clear_h:g} h "
        "aimed at: strength may not be back (up to 96 h in Rhodes, McNaughton and Greig 2019)"
        for c in settings.competitions
        if clearance_h(settings, day, c) < settings.clear_h
    ]
    return PlannedSession(
        starts=_starts(settings, day),
        week=week + 1,
        sets=sets,
        reps=settings.reps,
        momentum_reps=settings.momentum_reps,
        rest_s=settings.rest_s,
        in_season=season,
        warnings=tuple(near),
    )


def plan_document(plan: Plan) -> dict[str, Any]:
    """The plan as JSON has it, and as the store keeps it (``store.catalog.add_plan``)."""
    settings = plan.settings
    return {
        "schema": 1,
        "title": plan.title,
        "exercise": settings.exercise,
        "start": settings.start.isoformat(),
        "weeks": settings.weeks,
        "competitions": [
            {
                "day": each.day.isoformat(),
                "starts": None if each.starts is None else each.starts.isoformat("minutes"),
                "name": each.name,
            }
            for each in settings.competitions
        ],
        "sessions": [
            {**asdict(each), "starts": each.starts.isoformat(timespec="minutes"), "reps": list(each.reps)}
            for each in plan.sessions
        ],
        "warnings": list(plan.warnings),
        "cautions": list(CAUTIONS),
    }
