"""``brakebeat export``: the store as CSV, Parquet or JSON."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from brakebeat.errors import InputError
from brakebeat.store.location import add_store_option

if TYPE_CHECKING:
    from brakebeat.store import Store

_KINDS = ("csv", "parquet", "json")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    parser.add_argument(
        "out", metavar="FILE", help="where to: *.csv, *.parquet, *.json; - is standard output (CSV, JSON)"
    )
    parser.epilog = (
        "CSV and Parquet have a row a rep, JSON has all. In CSV a name that begins with = + - @ or a tab has an "
        "apostrophe in front, so that no spreadsheet takes it for a formula; `brakebeat import` takes it off again."
    )
    parser.add_argument("--format", choices=_KINDS, help="another format than FILE's ending says")
    parser.add_argument("--athlete", metavar="NAME", help="only this athlete's")
    parser.add_argument(
        "--no-edges",
        action="store_true",
        help="JSON without the raw edges: much smaller, never to be recomputed",
    )
    add_store_option(parser)


def run(args: argparse.Namespace) -> int:
    """Write the export. CSV and Parquet have a row a rep; JSON has all and can be imported again."""
    from brakebeat.store import open_store
    from brakebeat.store.catalog import find_named

    kind = args.format or (Path(args.out).suffix[1:].lower() if args.out != "-" else "csv")
    if kind not in _KINDS:
        raise InputError(f"{args.out}: end the name in .csv, .parquet or .json, or add --format")
    with open_store(args.store, create=False) as store:
        athlete = find_named(store, "athlete", args.athlete) if args.athlete else None
        if args.out == "-":
            _to_standard_output(store, kind, athlete, args)
            return 0
        _to_file(store, kind, Path(args.out), athlete, args)
    size_kb = Path(args.out).stat().st_size / 1e3
    size = f"{size_kb:.1f} kB" if size_kb < 1e3 else f"{size_kb / 1e3:.1f} MB"
    words = {"csv": "CSV", "parquet": "Parquet", "json": "JSON"}[kind]
    print(f"{args.out}: {size} of {words}", file=sys.stderr)
    return 0


def _to_file(store: Store, kind: str, path: Path, athlete: int | None, args: argparse.Namespace) -> None:
    from brakebeat.formats.atomic import atomic_write
    from brakebeat.store.parquet import write_parquet
    from brakebeat.store.table import export_csv
    from brakebeat.store.whole import write_json

    if path.exists() and path.samefile(store.path):
        raise InputError(f"{path}: is the store itself; choose another file")
    if kind == "parquet":
        write_parquet(store, path, athlete)
    elif kind == "csv":
        export_csv(store, path, athlete)
    else:
        with atomic_write(path) as stream:
            write_json(store, stream, athlete, with_edges=not args.no_edges)


def _to_standard_output(store: Store, kind: str, athlete: int | None, args: argparse.Namespace) -> None:
    from brakebeat.store.table import write_csv
    from brakebeat.store.whole import write_json

    if kind == "parquet":
        raise InputError("-: Parquet needs a file; give it a name")
    if kind == "csv":
        write_csv(store, sys.stdout.buffer, athlete)
    else:
        write_json(store, sys.stdout.buffer, athlete, with_edges=not args.no_edges)
    sys.stdout.flush()
