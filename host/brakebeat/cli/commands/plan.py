"""``brakebeat plan``: a training block around competitions, as text and as a calendar file."""

from __future__ import annotations

import argparse
import difflib
import json
import re
import tomllib
from datetime import date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from brakebeat.errors import InputError, unreadable
from brakebeat.store.location import add_store_option
from brakebeat.wording import counted

if TYPE_CHECKING:
    from brakebeat.training.block import BlockSettings, Competition
    from brakebeat.training.plan import Plan


# What holds where neither the command line nor the settings file says otherwise: common practice, no source.
_DEFAULTS: dict[str, Any] = {
    "weeks": 8,
    "sessions": 2,
    "sets": "3-6",
    "reps": "6-8",
    "momentum": 2,
    "rest": 180,
    "competition": [],
    "in_season": [],
    "sessions_in_season": 1,
    "clear": 72.0,
    "clear_least": 48.0,
    "between": 48.0,
    "most_a_week": 3,
    "days": None,
    "not_on": [],
    "at": "18:00",
    "lasts": 60,
    "exercise": "flywheel session",
    "start": None,
    "athlete": None,
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of the command; every default is common practice, without a source."""
    add = parser.add_argument
    add(
        "--settings",
        metavar="FILE.toml",
        help="settings by the names below, with _ for - (weeks = 10, competition = [...]); what is given here wins",
    )
    add("--start", metavar="DATE", help="first day, like 2027-01-04")
    add("--weeks", type=int, metavar="N", help="how many weeks (8)")
    add("--sessions", type=int, metavar="N", help="sessions a week (2)")
    add("--sets", metavar="N[-N]", help="sets a session, rising over the weeks (3-6)")
    add("--reps", metavar="N[-N]", help="reps a set, momentum reps not counted (6-8)")
    add("--momentum", type=int, metavar="N", help="momentum reps of a set (2)")
    add("--rest", type=int, metavar="S", help="rest between sets in s (180)")
    add(
        "--competition",
        action="append",
        metavar="DATE[THH:MM][=NAME]",
        help="a competition; give it once for each",
    )
    add("--in-season", action="append", metavar="DATE:DATE", help="from and to: maintain only")
    add("--sessions-in-season", type=int, metavar="N", help="sessions a week in season (1)")
    add("--clear", type=float, metavar="H", help="hours clear of competition to aim at (72)")
    add("--clear-least", type=float, metavar="H", help="hours clear at least (48)")
    add("--between", type=float, metavar="H", help="hours between sessions at least (48)")
    add("--most-a-week", type=int, metavar="N", help="warn of more sessions a week for the same muscles (3)")
    add("--days", metavar="DAYS", help="weekdays to prefer, like mon,thu")
    add("--not-on", action="append", metavar="DATE", help="a day without training")
    add("--at", metavar="HH:MM", help="when a session starts (18:00)")
    add("--lasts", type=int, metavar="MIN", help="how long a session takes (60)")
    add("--exercise", metavar="NAME", help="what is trained")
    add("--athlete", metavar="NAME", help="keep the plan with this athlete in the store")
    add("--ics", metavar="FILE", help="write a calendar file (iCalendar)")
    add("--json", action="store_true", help="print one JSON document and nothing else")
    add_store_option(parser)


def _fill_in(args: argparse.Namespace) -> None:
    """Put the settings file's values, then the defaults, where the command line says nothing."""
    values = dict(_DEFAULTS)
    if args.settings is not None:
        values |= _from_file(Path(args.settings))
    for name, value in values.items():
        if getattr(args, name) is None:
            setattr(args, name, value)
    if args.start is None:
        raise InputError(
            "--start: missing; give the first day, like 2027-01-04, here or in the settings file"
        )


def _from_file(path: Path) -> dict[str, Any]:
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise unreadable(path, error) from error
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}: is no TOML ({error})") from error
    for name in table:
        if name not in _DEFAULTS:
            close = difflib.get_close_matches(name, _DEFAULTS, 1)
            hint = f"did you mean {close[0]!r}?" if close else f"there are {', '.join(_DEFAULTS)}"
            raise InputError(f"{path}: {name}: no such setting; {hint}")
    return {name: _of_kind(f"{path}: {name}", value, _DEFAULTS[name]) for name, value in table.items()}


def _of_kind(where: str, value: Any, default: Any) -> Any:
    """A value of the file as the command line would have it."""
    if isinstance(default, list):
        return [_words(where, each) for each in (value if isinstance(value, list) else [value])]
    if isinstance(default, int | float):
        right = isinstance(value, int | float) and not isinstance(value, bool)
        if not right or (isinstance(default, int) and not isinstance(value, int)):
            kind = "whole number" if isinstance(default, int) else "number"
            raise InputError(f"{where}: {value!r} is no {kind}")
        return value
    if isinstance(value, list):
        return ",".join(_words(where, each) for each in value)
    return _words(where, value)


def _words(where: str, value: Any) -> str:
    if isinstance(value, date | datetime | time):
        return value.isoformat()
    if isinstance(value, bool) or not isinstance(value, str | int):
        raise InputError(f"{where}: {value!r} is neither text, a date nor a whole number")
    return str(value)


def run(args: argparse.Namespace) -> int:
    """Lay the block out, print it, and write and keep it where asked."""
    from brakebeat.training.plan import lay_out, plan_document
    from brakebeat.training.show_plan import plan_text

    _fill_in(args)
    plan = lay_out(_settings(args))
    document = plan_document(plan)
    if args.athlete:
        document["plan"] = _keep(args, document)
    if args.ics:
        _write_calendar(args, plan)
    if args.json:
        print(json.dumps(document, allow_nan=False))
        return 0
    print(plan_text(plan))
    if args.athlete:
        print(f"kept as plan {document['plan']} of {args.athlete}")
    if args.ics:
        print(f"{args.ics}: {counted(len(plan.sessions), 'session')} for your calendar")
    return 0


def _keep(args: argparse.Namespace, document: dict[str, object]) -> int:
    from brakebeat.store import open_store
    from brakebeat.store.catalog import add_plan, named

    with open_store(args.store) as store, store.writing():
        return add_plan(store, named(store, "athlete", args.athlete), document)


def _write_calendar(args: argparse.Namespace, plan: Plan) -> None:
    from brakebeat.formats.atomic import atomic_write
    from brakebeat.training.calendar_file import calendar_bytes

    with atomic_write(args.ics) as stream:
        stream.write(calendar_bytes(plan, args.athlete or ""))


def _settings(args: argparse.Namespace) -> BlockSettings:
    from brakebeat.training.block import BlockSettings

    return BlockSettings(
        start=_day("--start", args.start),
        weeks=args.weeks,
        per_week=args.sessions,
        sets=_range("--sets", args.sets),
        reps=_range("--reps", args.reps),
        momentum_reps=args.momentum,
        rest_s=args.rest,
        per_week_in_season=args.sessions_in_season,
        in_season=tuple(_stretch(text) for text in args.in_season),
        competitions=tuple(_competition(text) for text in args.competition),
        clear_h=args.clear,
        clear_least_h=min(args.clear_least, args.clear),
        between_h=args.between,
        most_per_week=args.most_a_week,
        days=None if args.days is None else _weekdays(args.days),
        unavailable=frozenset(_day("--not-on", text) for text in args.not_on),
        at=_hour("--at", args.at),
        lasts_min=args.lasts,
        exercise=args.exercise,
    )


def _day(option: str, text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise InputError(f"{option}: {text!r} is no date; write it like 2027-01-04") from error


def _hour(option: str, text: str) -> time:
    try:
        return time.fromisoformat(text).replace(tzinfo=None)
    except ValueError as error:
        raise InputError(f"{option}: {text!r} is no time of day; write it like 18:00") from error


def _range(option: str, text: str) -> tuple[int, int]:
    found = re.fullmatch(r"([0-9]{1,4})(?:-([0-9]{1,4}))?", text)
    if found is None:
        raise InputError(f"{option}: {text!r} is no number or range; write it like 4 or 3-6")
    return int(found[1]), int(found[2] or found[1])


def _stretch(text: str) -> tuple[date, date]:
    first, _, last = text.partition(":")
    return _day("--in-season", first), _day("--in-season", last or first)


def _competition(text: str) -> Competition:
    from brakebeat.training.block import Competition

    moment, _, name = text.partition("=")
    day, _, hour = moment.partition("T")
    starts = _hour("--competition", hour) if hour else None
    return Competition(_day("--competition", day), starts, " ".join(name.split()) or "competition")


def _weekdays(text: str) -> tuple[int, ...]:
    from brakebeat.training.block import WEEKDAYS

    names = [name.strip().lower()[:3] for name in text.split(",")]
    wrong = [name for name in names if name not in WEEKDAYS]
    if wrong:
        raise InputError(f"--days: {wrong[0]!r} is no weekday; there are {', '.join(WEEKDAYS)}")
    return tuple(sorted({WEEKDAYS.index(name) for name in names}))
