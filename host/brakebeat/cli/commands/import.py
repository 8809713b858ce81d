"""``brakebeat import``: recordings, fetched reps or an earlier export into the store."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from brakebeat.errors import InputError
from brakebeat.store.location import add_store_option
from brakebeat.wording import counted, were_here

if TYPE_CHECKING:
    from brakebeat.store import Store
    from brakebeat.store.computing import Imported
    from brakebeat.store.fetched import Fetched
    from brakebeat.store.flat import Taken

# What of a JSON export is told, and how it is called.
_WORDS = {
    "athlete": "athlete",
    "exercise": "exercise",
    "rig": "rig",
    "plan": "plan",
    "session": "session",
    "work_set": "set",
    "rep": "rep",
    "recording": "recording",
    "note": "note",
    "cue": "cue",
    "rep_mark": "mark",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    parser.add_argument(
        "files",
        nargs="+",
        metavar="FILE",
        help="a recording, sample:NAME, reps of `fetch --out` (*.jsonl), or an export (JSON, CSV, Parquet)",
    )
    parser.add_argument("--athlete", metavar="NAME", help="who pulled (a new name makes a new athlete)")
    parser.add_argument("--exercise", metavar="NAME", help="what was done")
    parser.add_argument(
        "--rig",
        metavar="RIG",
        help="rig file; what it states wins over a recording's header; fetched reps need it",
    )
    parser.add_argument(
        "--at",
        metavar="TIME",
        help="when the first recording began, like 2027-01-31T18:00 (without it: the file's own date)",
    )
    parser.add_argument("--session", type=int, metavar="N", help="add the sets to this session")
    parser.add_argument(
        "--one-session", action="store_true", help="all recordings are one session, in the order given"
    )
    parser.add_argument(
        "--engine",
        choices=("reference", "firmware"),
        default="reference",
        help="who works the figures out (default: reference)",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON document and nothing else")
    add_store_option(parser)


def run(args: argparse.Namespace) -> int:
    """Take each file in; what is in the store already is left alone."""
    from brakebeat.samples import resolve
    from brakebeat.store import open_store

    paths = [resolve(name) for name in args.files]
    kinds = [_kind(path) for path in paths]
    if not set(kinds) <= {"export", "flat"} and not (args.athlete and args.exercise):
        raise InputError("--athlete and --exercise are missing: say who did what in the recording")
    if "fetched" in kinds and args.rig is None:
        raise InputError("--rig: missing; fetched reps do not say what they were pulled on")
    take = {"export": _merge, "flat": _flat, "fetched": _fetched, "recording": _recording}
    outcome = []
    with open_store(args.store) as store:
        if not set(kinds) <= {"export", "flat"}:
            _remark_on_names(store, args)
        for path, kind in zip(paths, kinds, strict=True):
            outcome.append(take[kind](store, args, path))
            if not args.json:
                print(outcome[-1]["words"])
            if kind == "recording" and args.one_session:
                args.session = outcome[-1]["session"]
    if args.json:
        print(json.dumps({"schema": 1, "files": outcome}))
    return 0


def _remark_on_names(store: Store, args: argparse.Namespace) -> None:
    """A slip of the finger makes a new athlete or exercise: say so."""
    from brakebeat.store.catalog import Named, list_named, much_like

    given: dict[Named, str] = {"athlete": args.athlete, "exercise": args.exercise}
    for kind, name in given.items():
        meant = much_like([row["name"] for row in list_named(store, kind)], name)
        if meant is not None:
            print(f"{kind} {name!r} is new; there is {meant!r}, too", file=sys.stderr)


def _kind(path: Path) -> str:
    from brakebeat.store.flat import is_flat
    from brakebeat.store.merge import is_export

    # Looks into the file, so that one that cannot be read is named before anything is asked for.
    flat = is_flat(path)
    if path.suffix.lower() == ".jsonl":
        return "fetched"
    if flat:
        return "flat"
    return "export" if is_export(path) else "recording"


def _flat(store: Store, args: argparse.Namespace, path: Path) -> dict[str, Any]:
    from brakebeat.store.flat import import_flat

    done = import_flat(store, path)
    words = f"{path}: {_counts(done)}"
    if done.known:
        words += f"; {were_here(done.known, 'set')}"
    return {"file": str(path), **asdict(done), "words": words}


def _counts(done: Taken | Fetched) -> str:
    return f"{counted(done.sessions, 'session')}, {counted(done.sets, 'set')}, {counted(done.reps, 'rep')}"


def _fetched(store: Store, args: argparse.Namespace, path: Path) -> dict[str, Any]:
    from brakebeat.formats.rig import read_rig
    from brakebeat.store.fetched import import_fetched

    done = import_fetched(
        store,
        path,
        athlete=args.athlete,
        exercise=args.exercise,
        rig=read_rig(Path(args.rig)),
        unknown_at=_started(args, path),
    )
    words = f"{path}: {_counts(done)}"
    if done.known:
        words += f"; {were_here(done.known, 'rep')}"
    return {"file": str(path), **asdict(done), "words": words}


def _merge(store: Store, args: argparse.Namespace, path: Path) -> dict[str, Any]:
    from brakebeat.store.merge import import_export

    new = import_export(store, path).new
    listed = ", ".join(counted(new[name], word) for name, word in _WORDS.items() if name in new)
    return {"file": str(path), "new": new, "words": f"{path}: {listed or 'all of it was here already'}"}


def _recording(store: Store, args: argparse.Namespace, path: Path) -> dict[str, Any]:
    from brakebeat.formats.recording import read_recording
    from brakebeat.store.computing import import_recording

    recording = read_recording(path, args.rig)
    started = _started(args, path)
    done = import_recording(
        store,
        recording,
        athlete=args.athlete,
        exercise=args.exercise,
        started=started,
        engine=args.engine,
        session_id=args.session,
    )
    # It was the first recording's time. Another one of the same session cannot have begun before its end.
    after = started + timedelta(microseconds=int(recording.t_us[-1] - recording.t_us[0]))
    args.at = after.isoformat() if args.at and args.one_session else None
    return {"file": str(path), **_told(done), "words": f"{path}: {_words(done)}"}


def _told(done: Imported) -> dict[str, Any]:
    told = asdict(done)
    return {"session": told.pop("session_id"), **told}


def _words(done: Imported) -> str:
    if not done.new:
        words = f"was here already, in session {done.session_id}"
    else:
        reps = f"{counted(done.reps, 'rep')} (momentum reps, too)"
        words = f"session {done.session_id}, {counted(done.sets, 'set')}, {reps}"
        if done.known:
            words += f"; {were_here(done.known, 'more set')}"
    if done.edges_added:
        words += f"; its raw edges stand beside {counted(done.edges_added, 'set')} now"
    return words


def _started(args: argparse.Namespace, path: Path) -> datetime:
    from brakebeat.store.clock import parse_moment

    if args.at:
        return parse_moment(args.at, "--at")
    started = datetime.fromtimestamp(path.stat().st_mtime).astimezone()
    print(f"{path}: dated {started:%Y-%m-%d %H:%M} after its file; --at gives another time", file=sys.stderr)
    return started
