"""``brakebeat report``: a session or an athlete's weeks as one HTML file."""

from __future__ import annotations

import argparse
import gc
import math
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from brakebeat.errors import InputError
from brakebeat.store.location import add_store_option
from brakebeat.wording import counted

if TYPE_CHECKING:
    from brakebeat.store import Store

_MOST_WEEKS = 5200


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    parser.add_argument("what", metavar="SESSION|ATHLETE", help="a session's number, or an athlete's name")
    parser.add_argument("--out", metavar="FILE.html", help="where to; without it a name in this folder")
    parser.add_argument(
        "--weeks", type=int, default=12, metavar="N", help="weeks up to the newest session (12); 0: all"
    )
    parser.add_argument(
        "--force", type=float, metavar="N", help="count reps with a peak force above N newton"
    )
    parser.add_argument(
        "--no-curves", action="store_true", help="no curves from the raw edges: seconds quicker"
    )
    add_store_option(parser)


def run(args: argparse.Namespace) -> int:
    """Write the report."""
    from brakebeat.formats.atomic import atomic_write
    from brakebeat.store import open_store

    _check(args)
    with open_store(args.store, create=False) as store:
        out = Path(args.out or _own_name(args.what))
        if out.exists() and out.samefile(store.path):
            raise InputError(f"{out}: is the store itself; choose another file")
        if not args.no_curves:
            _prepare(store, args)
        with store.reading(), _no_garbage():
            content = _content(store, args)
    with atomic_write(out) as stream:
        stream.write(content)
    print(f"{out}: {len(content) / 1e3:.0f} kB; open it in a browser, it needs no network", file=sys.stderr)
    return 0


@contextmanager
def _no_garbage() -> Iterator[None]:
    """Without looking for cycles of references: a report makes none, and looking takes a fifth of its time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _check(args: argparse.Namespace) -> None:
    if args.out is not None and Path(args.out).suffix.lower() not in (".html", ".htm"):
        raise InputError(f"--out: {args.out}: a report is HTML; end the name in .html")
    if not 0 <= args.weeks <= _MOST_WEEKS:
        raise InputError(f"--weeks: {args.weeks}: give 0 (all) to {_MOST_WEEKS}")
    if args.force is not None and not (math.isfinite(args.force) and args.force > 0):
        raise InputError(f"--force: {args.force}: give a force in newton, greater than 0")


def _content(store: Store, args: argparse.Namespace) -> bytes:
    from brakebeat.report import athlete_report, session_report

    wishes = {"weeks": args.weeks, "force_n": args.force, "curves": not args.no_curves}
    session, athlete = _meant(store, args.what)
    if athlete is None:
        return session_report(store, session, **wishes)
    return athlete_report(store, athlete, **wishes)


def _meant(store: Store, what: str) -> tuple[int, int | None]:
    """(session whose curves are drawn, athlete or None); a session of 0 is none."""
    from brakebeat.store.catalog import find_named
    from brakebeat.store.queries import newest_with_sets

    if re.fullmatch(r"[0-9]{1,9}", what):
        return int(what), None
    athlete = find_named(store, "athlete", what.removeprefix("athlete:"))
    newest = newest_with_sets(store, athlete)
    return 0 if newest is None else newest.id, athlete


def _prepare(store: Store, args: argparse.Namespace) -> None:
    """Have the curves worked out and kept, which takes seconds the first time."""
    from brakebeat.report.motion import prepare
    from brakebeat.store.queries import sets

    wanted = list(sets(store, session_id=_meant(store, args.what)[0]))
    prepare(
        store,
        wanted,
        lambda count: print(f"working out the curves of {counted(count, 'set')} …", file=sys.stderr),
    )


def _own_name(what: str) -> str:
    if what.isdecimal():
        return f"session-{what}.html"
    words = re.sub(r"[^\w]+", "-", what.removeprefix("athlete:").lower()).strip("-_")
    return f"report-{words[:60] or 'athlete'}.html"
