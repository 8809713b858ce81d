"""``brakebeat log recompute``, ``backup`` and ``verify``."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from pathlib import Path

from brakebeat.errors import InputError
from brakebeat.store import recomputing
from brakebeat.store.address import find_session
from brakebeat.store.connection import Store
from brakebeat.wording import counted


def recompute(store: Store, args: argparse.Namespace) -> int:
    """New figures from the raw edges."""
    if args.what is not None:
        find_session(store, args.what)

    def tell(done: int, of: int) -> None:
        if sys.stderr.isatty() and of:
            print(f"\r{done} of {of} recordings", end="\n" if done == of else "", file=sys.stderr, flush=True)

    change, outcome, without = recomputing.recompute(store, args.what, args.engine, tell)
    if args.json:
        document = {"schema": 1, "change": change, "sets": [asdict(each) for each in outcome]}
        print(json.dumps({**document, "without_edges": without}))
        return 0
    if change is None:
        print("nothing to recompute: no raw edges are kept with these sets")
        return 0
    before, after = (sum(getattr(each, name) for each in outcome) for name in ("reps_before", "reps_after"))
    by = f"{outcome[0].engine} {outcome[0].engine_version}"
    print(f"{counted(len(outcome), 'set')} by {by}: {before} reps before, {after} now")
    if without:
        print(f"{counted(without, 'set')} without raw edges, or with gaps in them: left as before")
    print(f"`brakebeat log undo {change}` brings the old figures back")
    return 0


def backup(store: Store, args: argparse.Namespace) -> int:
    """A copy of the whole store."""
    target = Path(args.out)
    if target.exists():
        raise InputError(f"{target}: is there already; choose another name")
    store.copy_to(target)
    if args.json:
        print(json.dumps({"schema": 1, "backup": str(target)}))
    else:
        print(f"{target}: the store as it is now ({target.stat().st_size / 1e6:.2f} MB); use it with --store")
    return 0


def verify(store: Store, args: argparse.Namespace) -> int:
    """SQLite's own check; exit code 1 where it finds anything."""
    faults = store.faults()
    if args.json:
        print(json.dumps({"schema": 1, "store": str(store.path), "faults": faults}))
    else:
        print("\n".join(faults) if faults else f"{store.path}: sound")
    return 1 if faults else 0
