"""What was done against what was planned."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any
from xml.etree.ElementTree import Element

from brakebeat.report.axes import Axis, Frame, axis_around
from brakebeat.report.figure import KeyEntry, figure
from brakebeat.report.figures import Dose, dose_of, monday
from brakebeat.report.markup import Child, el
from brakebeat.report.numbers import UNKNOWN, number
from brakebeat.report.spans import Span, days_of, in_spans, ticks
from brakebeat.report.tables import Column, table
from brakebeat.store.sums import SetSums
from brakebeat.wording import counted

Plan = dict[str, Any]
_COLUMNS = (
    Column("week from"),
    Column("sessions", "done", "sessions"),
    Column("sessions", "planned", "planned_sessions"),
    Column("sets", "done", "sets"),
    Column("sets", "planned", "planned_sets"),
    Column("reps", "done", "reps"),
    Column("reps", "planned", "planned_reps"),
    Column("con. work", "kJ", "concentric_kj"),
    Column("ecc. work", "kJ", "eccentric_kj"),
)


def newest_plan(plans: Sequence[tuple[int, Plan]], chosen: int | None = None) -> Plan | None:
    """The plan with the id ``chosen``, else the newest; None where there is none that can be read."""
    for identity, plan in plans:
        if chosen in (None, identity) and _readable(plan):
            return plan
    return None


def _readable(plan: Plan) -> bool:
    """Whether a plan has what is used here: imported files may hold anything."""
    try:
        date.fromisoformat(plan["start"])
        for each in plan["sessions"]:
            _day(each)
            _reps([each])
        return isinstance(plan["title"], str)
    except (KeyError, IndexError, TypeError, ValueError):
        return False


def planned_sets(sets: Sequence[SetSums], plan: Plan | None) -> list[SetSums]:
    """The sets that a plan is about: its exercise's, or all where no set is of that exercise."""
    name = "" if plan is None else str(plan.get("exercise", "")).casefold()
    meant = [each for each in sets if each.exercise.casefold() == name]
    return meant or list(sets)


def sessions_of(plan: Plan, first: date, last: date) -> list[dict[str, Any]]:
    """The planned sessions of the days from ``first`` to ``last``, both included."""
    return [each for each in plan.get("sessions", ()) if first <= _day(each) <= last]


def _day(session: dict[str, Any]) -> date:
    return datetime.fromisoformat(session["starts"]).date()


def _reps(sessions: Sequence[dict[str, Any]]) -> tuple[int, int]:
    return (
        sum(each["sets"] * each["reps"][0] for each in sessions),
        sum(each["sets"] * each["reps"][1] for each in sessions),
    )


def dose_section(sets: Sequence[SetSums], plan: Plan | None, first: date, last: date) -> Element:
    """Week by week from ``first`` to ``last``: done, planned, and the work done."""
    meant = planned_sets(sets, plan)
    origin = date.fromisoformat(plan["start"]) if plan else monday(first)
    begins = origin + timedelta(days=(first - origin).days // 7 * 7)
    weeks = [begins + timedelta(days=day) for day in range(0, (last - begins).days + 1, 7)]
    rows = [_row(*each) for each in _times(meant, plan, "week", weeks)]
    words = (
        f"Against the plan “{plan['title']}”. Momentum reps come on top of the planned reps and are not counted here."
        if plan
        else "No plan is kept with this athlete (`brakebeat plan … --athlete NAME` keeps one), so there is nothing "
        "to compare with."
    )
    return el(
        "section",
        el("h2", "Dose against plan" if plan else "Dose"),
        el("p", words, class_="aside"),
        el("div", _picture(meant, plan, weeks), class_="figures") if len(weeks) > 1 else None,
        table("Dose, week by week", _COLUMNS, rows),
    )


def _row(begins: date, done: Dose, wanted: Sequence[dict[str, Any]] | None) -> list[Child]:
    low, high = _reps(wanted or [])
    return [
        begins.isoformat(),
        str(done.sessions),
        UNKNOWN if wanted is None else str(len(wanted)),
        str(done.sets),
        UNKNOWN if wanted is None else str(sum(each["sets"] for each in wanted)),
        str(done.reps),
        UNKNOWN if wanted is None else _range(low, high),
        number(done.concentric_j / 1000.0, 1),
        number(done.eccentric_j / 1000.0, 1),
    ]


def _range(low: int, high: int) -> str:
    return str(low) if low == high else f"{low} to {high}"


# A time's first day, what was done in it, and the sessions that were planned for it.
_Time = tuple[date, Dose, Sequence[dict[str, Any]] | None]


def _times(sets: Sequence[SetSums], plan: Plan | None, span: Span, begins: Sequence[date]) -> list[_Time]:
    """Done and planned in each week, month or year that begins on one of the days."""
    found: list[_Time] = []
    # In order of local days, which is not that of time where the athlete travels.
    ordered = sorted(sets, key=lambda each: each.started.date())
    days = [each.started.date() for each in ordered]
    for day in begins:
        first, last = days_of(span, day)
        inside = ordered[bisect_left(days, first) : bisect_right(days, last)]
        found.append((first, dose_of(inside), None if plan is None else sessions_of(plan, first, last)))
    return found


def _picture(sets: Sequence[SetSums], plan: Plan | None, weeks: Sequence[date]) -> Element:
    span, _ = in_spans(weeks, lambda day: day, finest="week")
    days = weeks if span == "week" else [*weeks, *(each.started.date() for each in sets)]
    times = _times(sets, plan, span, sorted({days_of(span, day)[0] for day in days}))
    begins = [begin for begin, *_ in times]
    plans = [_reps(wanted or []) for *_, wanted in times]
    done = [dose.reps for _, dose, _ in times]
    y = axis_around([*map(float, done), *(float(high) for _, high in plans)], f"reps a {span}")
    name = "week from" if span == "week" else span
    frame = Frame(Axis(-0.6, len(times) - 0.4, name, ticks(begins)), y, height=260.0)
    inside: list[Element | None] = []
    told = []
    for place, day in enumerate(begins):
        words = f"{name} {_named(day, span)}: {counted(done[place], 'rep')} done"
        if plan is not None:
            words += f", {_range(*plans[place])} planned"
        told.append(words)
        inside.append(frame.box((place - 0.3, place + 0.3), (0.0, done[place]), "bar", words))
        if plans[place][1]:
            inside += _bracket(frame, place, plans[place])
    entries: list[KeyEntry] = [("band", "bar", "reps done")]
    if any(high for _, high in plans):
        entries.append(("line", "planned", "planned, fewest to most"))
    picture = frame.picture(f"Reps a {span}, done and planned", "; ".join(told) + ".", "dose", *inside)
    return figure(
        f"Reps a {span}", picture, "Reps that count; a bracket shows what the plan asks for.", entries
    )


def _named(day: date, span: Span) -> str:
    return {"month": f"{day:%B %Y}", "year": f"{day:%Y}"}.get(span, f"{day}")


def _bracket(frame: Frame, place: int, wanted: tuple[int, int]) -> list[Element]:
    low, high = wanted
    ends = [frame.line([(place - 0.38, y), (place + 0.38, y)], "planned") for y in {low, high}]
    return [*ends, frame.line([(place, low), (place, high)], "planned")]


def session_dose(sets: Sequence[SetSums], plan: Plan | None) -> Element | None:
    """What the plan wanted on a session's day beside what was done; None without a plan or session."""
    if plan is None or not sets:
        return None
    day = sets[0].started.date()
    wanted = sessions_of(plan, day, day)
    done = dose_of(planned_sets(sets, plan))
    if not wanted:
        words = (
            f"The plan “{plan['title']}” has no session on {day}; done: "
            f"{counted(done.sets, 'set')}, {counted(done.reps, 'rep')}."
        )
        return el("section", el("h2", "Dose against plan"), el("p", words))
    low, high = _reps(wanted)
    columns = (Column("what"), Column("planned", "", "planned"), Column("done", "", "done"))
    rows: list[Sequence[Child]] = [
        ["sets", str(sum(each["sets"] for each in wanted)), str(done.sets)],
        ["reps that count", _range(low, high), str(done.reps)],
    ]
    return el(
        "section",
        el("h2", "Dose against plan"),
        table(f"Dose on {day}, after the plan “{plan['title']}”", columns, rows),
    )
