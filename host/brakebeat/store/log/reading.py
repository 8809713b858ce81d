"""``brakebeat log``, ``show`` and ``names``."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from rich.markup import escape

from brakebeat.errors import InputError
from brakebeat.results import finite
from brakebeat.store.address import find, find_session
from brakebeat.store.catalog import find_named, list_named, plans
from brakebeat.store.clock import parse_moment
from brakebeat.store.connection import Store
from brakebeat.store.queries import SessionSummary, StoredSet, notes, sessions, sets
from brakebeat.store.rep_rows import StoredRep
from brakebeat.store.show import console, print_sessions, print_set


def list_sessions(store: Store, args: argparse.Namespace) -> int:
    """Sessions, the newest first."""
    athlete = find_named(store, "athlete", args.athlete) if args.athlete else None
    since = parse_moment(args.since, "--since").astimezone() if args.since else None
    until = parse_moment(args.until, "--until").astimezone() if args.until else None
    if args.limit < 0:
        raise InputError(f"--limit: {args.limit} is below 0")
    if until is not None and len(args.until) <= len("2027-01-31"):
        until += timedelta(days=1)
    found = sessions(store, athlete_id=athlete, since=since, until=until, limit=args.limit or None)
    if args.json:
        print(json.dumps({"schema": 1, "sessions": [session_document(each) for each in found]}))
    elif not found:
        print(f"{store.path}: no session{' like that' if athlete or since or until else ' yet'}")
    else:
        total = store.rows("SELECT count(*) FROM live_session")[0][0] if athlete is None else len(found)
        print_sessions(found, total if since is None and until is None else len(found))
    return 0


def show(store: Store, args: argparse.Namespace) -> int:
    """A session, a set, a rep's set, an athlete or an exercise."""
    what = find(store, args.what)
    if what.kind in ("athlete", "exercise"):
        return _show_named(store, args, what.kind, what.id)
    if what.kind in ("note", "plan"):
        column = "text" if what.kind == "note" else "document"
        text = store.rows(f"SELECT {column} FROM {what.kind} WHERE id = ?", (what.id,))[0][0]
        print(json.dumps({"schema": 1, what.kind: text if what.kind == "note" else json.loads(text)}))
        return 0
    session = int(args.what.partition(".")[0])
    chosen = [
        each for each in sets(store, session_id=session) if what.kind == "session" or each.id == what.id
    ]
    summary = _summary(store, session)
    session_notes = notes(store, "session", session)
    if args.json:
        document = {"schema": 1, **session_document(summary)}
        document["notes"] = [text for _, text in session_notes]
        document["set_list"] = [set_document(each) for each in chosen]
        print(json.dumps(finite(document)))
        return 0
    print_sessions([summary], 1)
    for number, text in session_notes:
        console().print(f"note {number}: {escape(text)}")
    for each in chosen:
        print_set(each, notes(store, "set", each.id))
    return 0


def names(store: Store, args: argparse.Namespace) -> int:
    """Athletes and exercises."""
    athletes, exercises = list_named(store, "athlete"), list_named(store, "exercise")
    if args.json:
        print(json.dumps({"schema": 1, "athletes": athletes, "exercises": exercises}))
        return 0
    for title, found in (("athletes", athletes), ("exercises", exercises)):
        print(f"{title}: {', '.join(each['name'] for each in found) or 'none yet'}")
    return 0


def _summary(store: Store, session: int) -> SessionSummary:
    find_session(store, session)
    started = store.rows("SELECT started_ms FROM session WHERE id = ?", (session,))[0][0]
    # All that started at that moment: rarely more than one.
    from brakebeat.store.clock import from_stored

    moment = from_stored(started)
    close = sessions(store, since=moment, until=moment + timedelta(milliseconds=1))
    return next(each for each in close if each.id == session)


def _show_named(store: Store, args: argparse.Namespace, kind: str, identity: int) -> int:
    notes_on = notes(store, kind, identity) if kind == "athlete" else []
    kept = plans(store, identity) if kind == "athlete" else []
    found: Sequence[SessionSummary] = sessions(store, athlete_id=identity if kind == "athlete" else None)
    if kind == "exercise":
        rows = store.rows("SELECT DISTINCT session_id FROM live_set WHERE exercise_id = ?", (identity,))
        wanted = {row["session_id"] for row in rows}
        found = [each for each in found if each.id in wanted]
    if args.json:
        document = {"schema": 1, "notes": [text for _, text in notes_on], "plans": [plan for plan, _ in kept]}
        print(json.dumps({**document, "sessions": [session_document(each) for each in found]}))
        return 0
    print_sessions(found, len(found))
    for number, text in notes_on:
        console().print(f"note {number}: {escape(text)}")
    for number, plan in kept:
        console().print(f"plan {number}: {escape(str(plan.get('title', '')))}")
    return 0


def session_document(each: SessionSummary) -> dict[str, Any]:
    """A session's summary as JSON has it."""
    return {
        "session": each.id,
        "uid": each.uid,
        "athlete": each.athlete,
        "started": each.started.isoformat(),
        "exercises": list(each.exercises),
        "sets": each.sets,
        "reps": each.reps,
        "plan": each.plan_id,
    }


def set_document(each: StoredSet) -> dict[str, Any]:
    """A set as JSON has it; its reps as ``analyse`` gives them and what the store knows besides."""
    return {
        "set": each.position,
        "uid": each.uid,
        "exercise": each.exercise,
        "rig": each.rig,
        "inertia_kg_m2": each.inertia_kg_m2,
        "started": each.started.isoformat(),
        "engine": each.engine,
        "engine_version": each.engine_version,
        "raw_edges": each.has_edges,
        "notes": list(each.notes),
        "reps": [_rep_document(rep) for rep in each.reps],
        "cues": [{"t_us": cue.t_us, "rep": cue.rep, "kind": cue.kind} for cue in each.cues],
    }


def _rep_document(stored: StoredRep) -> dict[str, Any]:
    own = {
        "number": stored.number,
        "taken_out": stored.marked,
        "extension_rad_s": stored.extension_rad_s,
        "mean_acceleration_rad_s2": stored.mean_acceleration_rad_s2,
    }
    return {**own, **stored.rep.to_document()}
