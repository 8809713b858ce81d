"""A plan for a person: a line a session, week by week, and why it warns."""

from __future__ import annotations

import textwrap
from datetime import timedelta

from brakebeat.training.plan import CAUTIONS, Plan, PlannedSession
from brakebeat.wording import counted


def plan_text(plan: Plan) -> str:
    """The plan as plain text, at most 100 characters wide."""
    settings = plan.settings
    lines = [plan.title, "Numbers are common practice without a source; each is a setting (--help).", ""]
    for week in range(1, settings.weeks + 1):
        first = settings.start + timedelta(weeks=week - 1)
        sessions = [each for each in plan.sessions if each.week == week]
        events = [(each.starts.date(), _session(each)) for each in sessions]
        events += [
            (c.day, f"** {c.name}{f' at {c.starts:%H:%M}' if c.starts else ''} **")
            for c in settings.competitions
            if first <= c.day < first + timedelta(days=7)
        ]
        season = " (in season)" if any(each.in_season for each in sessions) else ""
        lines.append(f"week {week}{season}")
        lines += [f"  {day:%a %Y-%m-%d}  {words}" for day, words in sorted(events)] or ["  -"]
    said = list(plan.warnings)
    for each in plan.sessions:
        said += [f"{each.starts:%a %Y-%m-%d}: {warning}" for warning in each.warnings]
    if said:
        lines += ["", "Warnings"]
        lines += [textwrap.fill(f"- {text}", 100, subsequent_indent="  ") for text in said]
    return "\n".join([*lines, "", *CAUTIONS])


def _session(each: PlannedSession) -> str:
    low, high = each.reps
    reps = f"{low}" if low == high else f"{low}-{high}"
    mark = "  (!)" if each.warnings else ""
    return (
        f"{each.starts:%H:%M}  {each.sets} x {reps} reps after {counted(each.momentum_reps, 'momentum rep')}, "
        f"{each.rest_s} s rest{mark}"
    )
