"""``brakebeat bench``: what everything costs, as a table, as JSON, and in the README."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from brakebeat.bench.parts import PARTS
from brakebeat.cli.numbers import count


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    parser.add_argument("--only", nargs="+", choices=PARTS, metavar="PART", help=f"of {', '.join(PARTS)}")
    parser.add_argument(
        "--quick", action="store_true", help="little of everything, to see that it works; no figures to quote"
    )
    parser.add_argument(
        "--budget",
        type=count,
        default=600,
        metavar="SECONDS",
        help="for each part that may take hours (reference, many); what does not fit is told (600)",
    )
    parser.add_argument("--json", metavar="FILE", help="write everything as one JSON document, - for stdout")
    parser.add_argument(
        "--keep", type=Path, metavar="FILE", help="take parts that are not run now from an earlier --json"
    )
    parser.add_argument(
        "--readme", type=Path, metavar="FILE", help="put the table between its marks in this file"
    )


def run(args: argparse.Namespace) -> int:
    """Measure: 0, or 1 where a limit does not hold."""
    from brakebeat.bench import document as documents
    from brakebeat.bench.parts.figure import Scale
    from brakebeat.formats.atomic import check_place

    # Before the measuring, which may take an hour.
    if args.readme:
        documents.around(args.readme)
    for path in filter(None, (args.readme, Path(args.json) if args.json and args.json != "-" else None)):
        check_place(path)
    scale = Scale(args.quick, float(args.budget))
    made = documents.read_earlier(args.keep) if args.keep else {"parts": {}}
    for measured in documents.measure(args.only or list(PARTS), scale, _tell):
        made = documents.together(made, measured)
        # After each part: the next one may take an hour, and be interrupted.
        if args.json and args.json != "-":
            documents.write_json(made, Path(args.json))
    if args.json == "-":
        print(json.dumps(made, indent=1))
    if args.readme:
        documents.put_into(args.readme, made)
    if args.json != "-":
        print(documents.markdown(made))
    failed = documents.failed(made)
    if failed:
        _tell("does not hold its limit: " + "; ".join(failed))
    return 1 if failed else 0


def _tell(words: str) -> None:
    print(f"brakebeat bench: {words}", file=sys.stderr, flush=True)
