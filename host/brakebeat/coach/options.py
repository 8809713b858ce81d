"""What the options that ``coach`` and ``serve`` share say, and short questions for what was left out."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

from brakebeat.coach.choice import Choice, SetPlan
from brakebeat.errors import InputError
from brakebeat.formats.rig import Rig, read_rig
from brakebeat.store import Store
from brakebeat.store.catalog import checked_name, list_named, load_rig, much_like, plans
from brakebeat.training.block import BlockSettings

Ask = Callable[[str], str]
Answer = TypeVar("Answer")


def chosen(args: argparse.Namespace, store: Store, ask: Ask | None = None) -> Choice:
    """What the options say, the rest asked for where ``ask`` is given or there is a terminal.

    Raises:
        InputError: something is missing and nobody can be asked, or a name, file or plan is wrong.
    """
    if ask is None and sys.stdin.isatty():
        ask = _typed
    whose, what = (None, None) if args.plan is None else _of_plan(store, args.plan)
    if args.plan is not None and whose is None and args.athlete is None:
        raise InputError(
            f"--plan {args.plan}: not in {store.path}; `brakebeat plan --athlete NAME` keeps one there"
        )
    if args.session is not None:
        whose, what = _of_session(store, args.session, whose, what)
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


def _of_session(
    store: Store, session_id: int, whose: str | None, what: str | None
) -> tuple[str | None, str | None]:
    """Athlete and exercise of a session that goes on, where a plan has not said them."""
    row = store.row("SELECT athlete FROM live_session WHERE id = ?", (session_id,))
    if row is None:
        raise InputError(f"--session {session_id}: not in {store.path}; `brakebeat log` lists what is there")
    last = store.row(
        "SELECT exercise FROM live_set WHERE session_id = ? ORDER BY position DESC LIMIT 1", (session_id,)
    )
    return whose or row["athlete"], what or (last["exercise"] if last else None)


def _check_session(store: Store, session_id: int, athlete: str) -> None:
    row = store.row("SELECT athlete FROM live_session WHERE id = ?", (session_id,))
    assert row is not None  # _of_session has seen it
    if row["athlete"].lower() != athlete.lower():
        raise InputError(f"--session {session_id}: is {row['athlete']}'s, not {athlete}'s; leave it out")


def _name(given: str | None, kind: Any, store: Store, ask: Ask | None) -> str:
    """A name as the store has it, or a new one; one that is much like a known one is asked about, or remarked on."""
    known = [row["name"] for row in list_named(store, kind)]
    if given is None:
        if ask is None:
            raise InputError(f"--{kind}: missing; name the {kind} (known: {', '.join(known) or 'none yet'})")
        for number, name in enumerate(known, 1):
            print(f"  {number}  {name}")
        return _until_right(ask, f"{kind} (number or name): ", lambda text: _named(text, kind, known, ask))
    return _named(given, kind, known, ask)


def _named(text: str, kind: Any, known: list[str], ask: Ask | None) -> str:
    if ask is not None and text.isdecimal() and 1 <= int(text) <= len(known):
        return known[int(text) - 1]
    name = checked_name(kind, text)
    same = next((each for each in known if each.lower() == name.lower()), None)
    meant = much_like(known, name)
    if same is not None or meant is None:
        return same or name
    if ask is None:
        print(f"{kind} {name!r} is new; there is {meant!r}, too", file=sys.stderr)
        return name
    answer = ask(f"{kind} {name!r} is not known; Enter for {meant!r}, n for a new one: ").strip()
    return name if answer.lower() in ("n", "no", "new") else meant


def _typed(question: str) -> str:
    try:
        return input(question)
    except EOFError:
        raise InputError(f"{question.strip(' :')}: no answer; nothing was begun") from None


def _until_right(ask: Ask, question: str, read: Callable[[str], Answer]) -> Answer:
    """What ``read`` makes of an answer; a wrong one is asked for again."""
    while True:
        answer = ask(question).strip()
        try:
            return read(answer)
        except InputError as error:
            print(error, file=sys.stderr)


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

        def read(answer: str) -> Rig | None:
            if not answer and used is None:
                raise InputError("a rig file is needed (`brakebeat rig new` makes one)")
            return read_rig(Path(answer)) if answer else used

        used = _until_right(ask, f"rig file{last}: ", read)
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
