"""What the options that ``coach`` and ``serve`` share say, and short questions for what was left out."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

from brakebeat.coach.choice import Choice, SetPlan
from brakebeat.errors import InputError
from brakebeat.formats.rig import Rig, read_rig
from brakebeat.store import Store
from brakebeat.store.catalog import checked_name, list_named, load_rig, plans
from brakebeat.training.block import BlockSettings

Ask = Callable[[str], str]


def chosen(args: argparse.Namespace, store: Store, ask: Ask | None = None) -> Choice:
    """What the options say, the rest asked for where ``ask`` is given or there is a terminal.

    Raises:
        InputError: something is missing and nobody can be asked, or a name, file or plan is wrong.
    """
    if ask is None and sys.stdin.isatty():
        ask = input
    whose, what = (None, None) if args.plan is None else _of_plan(store, args.plan)
    if args.plan is not None and whose is None and args.athlete is None:
        raise InputError(
            f"--plan {args.plan}: not in {store.path}; `brakebeat plan --athlete NAME` keeps one there"
        )
    athlete = _name(args.athlete or whose, "athlete", store, ask)
    exercise = _name(args.exercise or what, "exercise", store, ask)
    planned = {} if args.plan is None else _planned(store, athlete, args.plan, date.today())
    plan = SetPlan(
        sets=args.sets or planned.get("sets") or SetPlan.sets,
        reps=args.reps or planned.get("reps") or SetPlan.reps,
        rest_s=args.rest or planned.get("rest_s") or SetPlan.rest_s,
        target_rad_s=args.target_speed,
        target_w=args.target_power,
    )
    if args.session is not None:
        _check_session(store, args.session, athlete)
    return Choice(athlete, exercise, _rig(args, store, ask), plan, args.plan, args.session)


def _check_session(store: Store, session_id: int, athlete: str) -> None:
    row = store.row("SELECT athlete FROM live_session WHERE id = ?", (session_id,))
    if row is None:
        raise InputError(f"--session {session_id}: not in {store.path}; `brakebeat log` lists what is there")
    if row["athlete"].lower() != athlete.lower():
        raise InputError(f"--session {session_id}: is {row['athlete']}'s, not {athlete}'s; leave it out")


def _name(given: str | None, kind: Any, store: Store, ask: Ask | None) -> str:
    known = [row["name"] for row in list_named(store, kind)]
    if given is None and ask is None:
        raise InputError(f"--{kind}: missing; name the {kind} (known: {', '.join(known) or 'none yet'})")
    if given is None and ask is not None:
        for number, name in enumerate(known, 1):
            print(f"  {number}  {name}")
        given = ask(f"{kind} (number or name): ").strip()
        if given.isdecimal() and 1 <= int(given) <= len(known):
            given = known[int(given) - 1]
    return checked_name(kind, given or "")


def _rig(args: argparse.Namespace, store: Store, ask: Ask | None) -> Rig:
    if args.rig is not None:
        return read_rig(args.rig)
    if args.virtual:
        from brakebeat.formats.recording import read_recording
        from brakebeat.samples import resolve

        return read_recording(resolve(args.virtual[0])).rig
    row = store.row("SELECT rig_id FROM work_set ORDER BY id DESC LIMIT 1")
    used = None if row is None else load_rig(store, row["rig_id"])
    if ask is not None:
        last = f", Enter for {used.name or 'the one used last'}" if used else ""
        answer = ask(f"rig file{last}: ").strip()
        if answer:
            return read_rig(Path(answer))
    if used is None:
        raise InputError("--rig: missing, and no rig was used before; name a rig file (`brakebeat rig new`)")
    return used


def _of_plan(store: Store, plan_id: int) -> tuple[str | None, str | None]:
    """Whose plan it is and of which exercise; None where it does not say."""
    row = store.row(
        "SELECT athlete.name, json_extract(document, '$.exercise') AS exercise FROM plan"
        " JOIN athlete ON athlete.id = plan.athlete_id WHERE plan.id = ? AND plan.deleted_ms IS NULL",
        (plan_id,),
    )
    if row is None:
        return None, None
    named = isinstance(row["exercise"], str) and row["exercise"] != BlockSettings.exercise
    return row["name"], row["exercise"] if named else None


def _planned(store: Store, athlete: str, plan_id: int, today: date) -> dict[str, Any]:
    """Sets, reps and rest of a plan's session today, else of the next one, else of its last."""
    kept = next(
        (row["id"] for row in list_named(store, "athlete") if row["name"].lower() == athlete.lower()), None
    )
    found = {} if kept is None else dict(plans(store, kept))
    if plan_id not in found:
        raise InputError(
            f"--plan {plan_id}: {athlete} has no such plan (there are: {', '.join(map(str, found)) or 'none'})"
        )
    sessions = found[plan_id].get("sessions") or [{}]
    ahead = [each for each in sessions if each.get("starts", "") >= today.isoformat()]
    session = (ahead or sessions[-1:])[0]
    reps = session.get("reps")
    return {"sets": session.get("sets"), "reps": reps[1] if reps else None, "rest_s": session.get("rest_s")}
