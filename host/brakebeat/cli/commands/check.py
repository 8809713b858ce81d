"""``brakebeat check FILE...``: firmware against reference over recordings, one or thousands, with a verdict."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from brakebeat.cli.many_call import FILES_HELP, add_many_arguments, wants_many, work_all
from brakebeat.errors import BrakebeatError, InputError
from brakebeat.results import SCHEMA, finite

if TYPE_CHECKING:
    from brakebeat.check.batch import Job
    from brakebeat.check.compare import FileReport
    from brakebeat.many.version import EngineName


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what ``check`` takes."""
    parser.add_argument("files", nargs="+", metavar="FILE", help=FILES_HELP)
    parser.add_argument("--rig", type=Path, metavar="FILE", help="rig file; wins over the headers")
    parser.add_argument(
        "--limits", type=Path, metavar="FILE", help="limits file instead of the one in the package (TOML)"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON document and nothing else")
    parser.add_argument(
        "--engine",
        choices=("auto", "micropython", "cpython"),
        default="auto",
        help="what runs the firmware (default: MicroPython where it is installed)",
    )
    add_many_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Check the files: 0 where all pass, 1 where one fails. One that cannot be read is an error."""
    return _many(args) if wants_many(args) else _named(args)


def _named(args: argparse.Namespace) -> int:
    """Recordings that were named one by one: all must be readable, or nothing is said of any."""
    from brakebeat.check import load_limits, pool
    from brakebeat.check.batch import Job
    from brakebeat.samples import resolve

    missing = [file for file in args.files if not resolve(file).exists()]
    if missing:
        raise InputError("\n".join(f"{file}: no such file" for file in missing))
    limits = load_limits(args.limits)
    reports = _with_progress(args.files, Job(limits, args.rig, args.engine), args.jobs)
    _tell_engine(args, any(report.engine == "cpython" for report in reports))
    passed = all(report.verdict == "pass" for report in reports)
    if args.json:
        _print_document(
            {
                "schema": SCHEMA,
                "verdict": "pass" if passed else "fail",
                "files": [report.to_document() for report in reports],
            }
        )
    else:
        from brakebeat.check.show import console_for, show_reports

        show_reports(reports, pool(reports, limits), console_for(sys.stdout))
    return 0 if passed else 1


def _many(args: argparse.Namespace) -> int:
    """Any number of recordings: what is wrong with some is told, the others are checked."""
    from brakebeat.board.engine import choose_engine
    from brakebeat.check import load_limits, pool
    from brakebeat.many import gather

    limits = load_limits(args.limits)
    firmware = choose_engine(args.engine)
    _tell_engine(args, firmware == "cpython")
    engines: tuple[EngineName, ...] = (firmware, "reference")
    found = work_all(args, engines)
    reports = list(gather.reports(found, firmware, limits))
    if args.out and not args.no_parquet:
        gather.write_dataset(args.out, found, engines, reports)
    document = gather.check_document(found, reports)
    if args.json:
        _print_document(document)
    elif reports:
        from brakebeat.check.show import console_for, show_many

        show_many(reports, pool(reports, limits), console_for(sys.stdout))
        if len(reports) < len(found):
            print(f"{len(found) - len(reports)} of {len(found)} recordings could NOT be checked, see above")
    return gather.exit_code(found, passed=document["verdict"] == "pass")


def _tell_engine(args: argparse.Namespace, on_cpython: bool) -> None:
    if args.engine == "auto" and on_cpython:
        print("No MicroPython VM here: the same firmware ran on CPython.", file=sys.stderr)


def _with_progress(files: list[str], job: Job, jobs: int | None) -> list[FileReport]:
    from brakebeat.check.batch import check_files
    from brakebeat.cli.progress import counting

    with counting("checking", len(files)) as done:
        outcomes = check_files(files, job, jobs, done=done)
    errors = [outcome for outcome in outcomes if isinstance(outcome, BrakebeatError)]
    if errors:
        # All of them at once: mending them one call at a time is no fun.
        raise type(errors[0])("\n".join(dict.fromkeys(str(error) for error in errors)))
    return [outcome for outcome in outcomes if not isinstance(outcome, BrakebeatError)]


def _print_document(document: dict[str, Any]) -> None:
    print(json.dumps(finite(document), allow_nan=False, indent=1))
