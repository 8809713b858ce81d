"""``brakebeat check FILE...``: firmware against reference over recordings, with a verdict."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from brakebeat.errors import BrakebeatError, InputError

if TYPE_CHECKING:
    from brakebeat.check.batch import Job
    from brakebeat.check.compare import FileReport


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what ``check`` takes."""
    parser.add_argument("files", nargs="+", metavar="FILE", help="pulse recordings, or sample:NAME")
    parser.add_argument("--rig", type=Path, metavar="FILE", help="rig file; wins over the headers")
    parser.add_argument(
        "--limits", type=Path, metavar="FILE", help="limits file instead of the one in the package (TOML)"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON document and nothing else")
    parser.add_argument(
        "--jobs", type=_positive, metavar="N", help="processes at most (default: one per usable core)"
    )
    parser.add_argument(
        "--engine",
        choices=("auto", "micropython", "cpython"),
        default="auto",
        help="what runs the firmware (default: MicroPython where it is installed)",
    )


def run(args: argparse.Namespace) -> int:
    """Check the files: 0 where all pass, 1 where one fails. One that cannot be read is an error."""
    from brakebeat.check import load_limits, pool
    from brakebeat.check.batch import Job
    from brakebeat.samples import resolve

    missing = [file for file in args.files if not resolve(file).exists()]
    if missing:
        raise InputError("\n".join(f"{file}: no such file" for file in missing))
    limits = load_limits(args.limits)
    reports = _with_progress(args.files, Job(limits, args.rig, args.engine), args.jobs)
    if args.engine == "auto" and any(report.engine == "cpython" for report in reports):
        print("No MicroPython VM here: the same firmware ran on CPython.", file=sys.stderr)
    passed = all(report.verdict == "pass" for report in reports)
    if args.json:
        _print_document(reports, passed)
    else:
        from brakebeat.check.show import console_for, show_reports

        show_reports(reports, pool(reports, limits), console_for(sys.stdout))
    return 0 if passed else 1


def _with_progress(files: list[str], job: Job, jobs: int | None) -> list[FileReport]:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeElapsedColumn

    from brakebeat.check.batch import check_files

    progress = Progress(
        "checking",
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty() or len(files) == 1,
    )
    with progress:
        task = progress.add_task("checking", total=len(files))
        outcomes = check_files(files, job, jobs, done=lambda: progress.advance(task))
    errors = [outcome for outcome in outcomes if isinstance(outcome, BrakebeatError)]
    if errors:
        # All of them at once: mending them one call at a time is no fun.
        raise type(errors[0])("\n".join(dict.fromkeys(str(error) for error in errors)))
    return [outcome for outcome in outcomes if not isinstance(outcome, BrakebeatError)]


def _print_document(reports: list[FileReport], passed: bool) -> None:
    from brakebeat.results import SCHEMA, finite

    document = {
        "schema": SCHEMA,
        "verdict": "pass" if passed else "fail",
        "files": [report.to_document() for report in reports],
    }
    print(json.dumps(finite(document), allow_nan=False, ensure_ascii=False, indent=1))


def _positive(text: str) -> int:
    value = int(text)
    if value < 1:
        raise ValueError(text)
    return value
