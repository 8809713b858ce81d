"""A plan as a calendar file: iCalendar, RFC 5545."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta

from icalendar import Calendar, Event

from brakebeat import __version__
from brakebeat.training.block import Competition
from brakebeat.training.plan import CAUTIONS, Plan, PlannedSession
from brakebeat.wording import counted

# Makes the UIDs: the same session of the same block is the same event, so that a new file replaces it.
_NAMESPACE = uuid.UUID("5b0f5a0e-2d57-4f0e-9c43-8f1f6d1f9a11")


def calendar_bytes(plan: Plan, owner: str = "", made: datetime | None = None) -> bytes:
    """The plan as an iCalendar object.

    Sessions are in floating local time (RFC 5545 3.3.5, form 1): at that hour wherever the athlete is.
    Competitions without an hour take whole days. ``owner`` tells apart the same block of different athletes;
    ``made`` is the time stamp, by default now.
    """
    stamp = (made or datetime.now(UTC)).astimezone(UTC).replace(microsecond=0)
    calendar = Calendar()
    calendar.add("prodid", f"-//Brakebeat//plan {__version__}//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    for number, session in enumerate(plan.sessions):
        calendar.add_component(_session(plan, number, session, owner, stamp))
    for competition in plan.settings.competitions:
        calendar.add_component(_competition(competition, owner, stamp))
    return calendar.to_ical()


def _session(plan: Plan, number: int, session: PlannedSession, owner: str, stamp: datetime) -> Event:
    event = Event()
    low, high = session.reps
    reps = f"{low}" if low == high else f"{low}-{high}"
    event.add("uid", _uid("session", owner, plan.settings.exercise, f"{plan.settings.start}", f"{number}"))
    event.add("dtstamp", stamp)
    event.add("dtstart", session.starts)
    event.add("dtend", session.starts + timedelta(minutes=plan.settings.lasts_min))
    event.add("summary", f"{plan.settings.exercise}: {session.sets} x {reps}")
    lines = [
        f"{counted(session.sets, 'set')} of {reps} reps after {counted(session.momentum_reps, 'momentum rep')}, "
        f"{session.rest_s} s rest (week {session.week})",
        *session.warnings,
        *CAUTIONS,
    ]
    event.add("description", "\n".join(lines))
    event.add("transp", "OPAQUE")
    return event


def _competition(competition: Competition, owner: str, stamp: datetime) -> Event:
    event = Event()
    event.add("uid", _uid("competition", owner, competition.name, f"{competition.day}"))
    event.add("dtstamp", stamp)
    if competition.starts is None:
        event.add("dtstart", competition.day)
        event.add("dtend", competition.day + timedelta(days=1))
    else:
        event.add("dtstart", datetime.combine(competition.day, competition.starts))
    event.add("summary", competition.name)
    event.add("transp", "OPAQUE")
    return event


def _uid(*parts: str) -> str:
    return f"{uuid.uuid5(_NAMESPACE, chr(31).join(parts))}@brakebeat"
