"""``brakebeat log note``, ``edit``, ``delete``, ``undo`` and ``changes``."""

from __future__ import annotations

import argparse
import difflib
import json
import sys
from typing import Any

from brakebeat.errors import InputError
from brakebeat.store import changes as hand
from brakebeat.store.address import Address, find
from brakebeat.store.catalog import checked_name, find_named, named, rig_id
from brakebeat.store.clock import parse_moment, to_stored
from brakebeat.store.connection import Store
from brakebeat.wording import counted

_NOTABLE = {"athlete": "athlete", "session": "session", "work_set": "set"}
_KEYS = {
    "session": ("athlete", "started", "plan"),
    "work_set": ("exercise", "rig"),
    "athlete": ("name",),
    "exercise": ("name",),
    "note": ("text",),
}


def note(store: Store, args: argparse.Namespace) -> int:
    """Write a note."""
    what = find(store, args.what)
    if what.kind not in _NOTABLE:
        raise InputError(f"{args.what}: a note belongs to an athlete, a session or a set")
    number = hand.add_note(store, _NOTABLE[what.kind], what.id, args.text, what.words)
    return _say(args, f"note {number} on {what.words}", {"note": number})


def edit(store: Store, args: argparse.Namespace) -> int:
    """Change columns of one row, all together."""
    what = find(store, args.what)
    allowed = _KEYS.get(what.kind, ())
    if not allowed:
        raise InputError(f"{args.what}: nothing of it can be edited; `brakebeat log delete` takes it away")
    with store.writing():
        columns: dict[str, Any] = {}
        for pair in args.values:
            key, equals, value = pair.partition("=")
            if not equals or key not in allowed:
                close = difflib.get_close_matches(key, allowed, 1)
                hint = f"did you mean {close[0]}=?" if close else f"there are {', '.join(allowed)}"
                raise InputError(f"{args.what}: {pair!r} is no KEY=VALUE that {what.words} has; {hint}")
            columns |= _columns(store, what, key, value)
        summary = f"{what.words}: {', '.join(' '.join(pair.split()) for pair in args.values)}"
        number = hand.change(store, summary, [(what.kind, what.id, columns)])
    words = f"{what.words} changed; `brakebeat log undo {number}` takes it back"
    if "rig_id" in columns:
        words += "\nthe figures are still those of the old rig; `brakebeat log recompute` makes them anew"
    return _say(args, words, {"change": number})


def _columns(store: Store, what: Address, key: str, value: str) -> dict[str, Any]:
    if key == "name":
        return {"name": checked_name(what.kind, value)}
    if key == "text":
        if not value.strip():
            raise InputError(f"{what.words}: the text is empty; `brakebeat log delete` takes a note away")
        return {"text": value.strip()}
    if key == "athlete":
        return {"athlete_id": find_named(store, "athlete", value)}
    if key == "exercise":
        return {"exercise_id": named(store, "exercise", value)}
    if key == "plan":
        return {"plan_id": find(store, f"plan:{value}").id if value else None}
    if key == "rig":
        from brakebeat.formats.rig import read_rig

        return {"rig_id": rig_id(store, read_rig(value))}
    started_ms, offset = to_stored(parse_moment(value, "started"))
    return {"started_ms": started_ms, "utc_offset_min": offset}


def delete(store: Store, args: argparse.Namespace) -> int:
    """Take something away, after asking."""
    what = find(store, args.what)
    _refuse_used(store, what)
    if not args.yes and not _agreed(what):
        print("nothing was deleted", file=sys.stderr)
        return 2
    summary = f"deleted {what.words}"
    if what.rep is not None:
        if what.rep.marked:
            raise InputError(f"{what.words}: is taken out already; `brakebeat log undo` puts it back")
        number = hand.mark_rep(store, what.id, what.rep.rep.extension_us, summary)
    else:
        number = hand.delete(store, summary, [(what.kind, what.id)])
    return _say(args, f"{summary}; `brakebeat log undo {number}` brings it back", {"change": number})


def _refuse_used(store: Store, what: Address) -> None:
    if what.kind != "exercise":
        return
    used = store.rows("SELECT count(*) FROM live_set WHERE exercise_id = ?", (what.id,))[0][0]
    if used:
        raise InputError(
            f"{what.words}: has {counted(used, 'set')}; give each another exercise or delete it first"
        )


def _agreed(what: Address) -> bool:
    with_it = {
        "athlete": " with all sessions",
        "session": " with all its sets",
        "work_set": " with all its reps",
    }.get(what.kind, "")
    print(f"Delete {what.words}{with_it}? [y/N] ", end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip().lower() in ("y", "yes")


def undo(store: Store, args: argparse.Namespace) -> int:
    """Take a change back."""
    done = hand.undo(store, args.change)
    return _say(args, f"undone: {done.summary}", {"undone": done.id})


def changes(store: Store, args: argparse.Namespace) -> int:
    """What was changed, the newest first."""
    found = hand.changes(store)
    if args.json:
        listed = [
            {"change": each.id, "at": each.at.isoformat(), "summary": each.summary, "undone": each.undone}
            for each in found
        ]
        print(json.dumps({"schema": 1, "changes": listed}))
        return 0
    for each in found:
        undone = "  (undone)" if each.undone else ""
        print(f"{each.id:5d}  {each.at.astimezone():%Y-%m-%d %H:%M}  {each.summary}{undone}")
    if not found:
        print(f"{store.path}: nothing was changed yet")
    return 0


def _say(args: argparse.Namespace, words: str, document: dict[str, Any]) -> int:
    print(json.dumps({"schema": 1, **document}) if args.json else words)
    return 0
