"""What ``analyse`` and ``check`` share where they take any number of recordings: options, the run, the words."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from brakebeat.cli.numbers import count
from brakebeat.errors import InputError
from brakebeat.wording import counted

if TYPE_CHECKING:
    from brakebeat.many.folder import ResultsFolder
    from brakebeat.many.run import Found
    from brakebeat.many.version import EngineName
    from brakebeat.many.work import Runner

FILES_HELP = (
    "pulse recordings, sample:NAME, folders of recordings, or @LIST: a text file with a recording a line "
    "(@- reads it from standard input)"
)


def add_many_arguments(parser: argparse.ArgumentParser) -> None:
    """The options that only make sense for many recordings."""
    parser.add_argument(
        "--out",
        type=Path,
        metavar="DIR",
        help="keep each recording's result in this folder as it comes, so that the same call goes on where it "
        "stopped, and all of them as a Parquet dataset (DIR/parquet)",
    )
    parser.add_argument(
        "--no-parquet", action="store_true", help="with --out: no dataset (it needs brakebeat[parquet])"
    )
    parser.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="work on the Dask cluster whose scheduler listens there (needs brakebeat[dask])",
    )
    parser.add_argument(
        "--jobs", type=count, metavar="N", help="processes at most (default: one per usable core)"
    )


def wants_many(args: argparse.Namespace) -> bool:
    """Whether the call is one for any number of recordings, in which a bad one does not stop the rest."""
    from brakebeat.many.sources import is_many

    _check_options(args)
    return bool(args.out or args.scheduler or any(is_many(file) for file in args.files))


def _check_options(args: argparse.Namespace) -> None:
    if args.no_parquet and not args.out:
        raise InputError("--no-parquet: only --out writes a dataset; leave it out")
    if args.scheduler and args.jobs:
        raise InputError("--jobs: with --scheduler the cluster's workers say how many; leave it out")


def work_all(args: argparse.Namespace, engines: Sequence[EngineName]) -> list[Found]:
    """Work through the call's recordings; faults are told on standard error, by name.

    Raises ``InputError`` or ``DeviceError`` for what concerns all of them.
    """
    from brakebeat.formats.rig import read_rig
    from brakebeat.many.dataset import parquet_library
    from brakebeat.many.folder import ResultsFolder
    from brakebeat.many.run import work_through
    from brakebeat.many.sources import named_recordings
    from brakebeat.many.version import versions_of
    from brakebeat.many.work import Order

    names = named_recordings(args.files)
    if args.out and not args.no_parquet:
        # Before hours of work rather than after.
        parquet_library()
    order = Order(versions_of(engines), read_rig(args.rig) if args.rig else None)
    folder = ResultsFolder(args.out, order) if args.out else None
    with _counted(args.command, len(names), folder) as done:
        found = work_through(names, order, _runner(args, len(names)), folder, done)
    _tell(args.command, found)
    return found


def _runner(args: argparse.Namespace, recordings: int) -> Runner:
    from brakebeat.many.processes import here, in_processes
    from brakebeat.pools import usable_cores

    if args.scheduler:
        from brakebeat.many.cluster import Cluster

        return Cluster(args.scheduler)
    workers = min(recordings, args.jobs or usable_cores())
    return in_processes(workers) if workers > 1 else here


@contextmanager
def _counted(command: str, total: int, folder: ResultsFolder | None) -> Iterator[Callable[[], None]]:
    """Counts what is done, on the screen too; says what an interruption leaves."""
    from brakebeat.cli.progress import counting

    count = 0
    try:
        with counting(command, total) as advance:

            def done() -> None:
                nonlocal count
                count += 1
                advance()

            yield done
    except KeyboardInterrupt:
        kept = (
            f"kept in {folder.path}: the same call goes on from there" if folder else "lost; --out keeps them"
        )
        print(f"brakebeat {command}: {count} of {total} recordings were done, {kept}", file=sys.stderr)
        raise


def _tell(command: str, found: Sequence[Found]) -> None:
    for one in found:
        if one.fault is not None:
            print(f"brakebeat {command}: {one.fault.words}", file=sys.stderr)
    faults = sum(one.fault is not None for one in found)
    kept = sum(one.kept for one in found)
    done = len(found) - faults - kept
    words = [f"{done} worked out"]
    words += [f"{kept} kept from before"] if kept else []
    words += [f"{faults} NOT worked out (named above)"] if faults else []
    print(f"brakebeat {command}: {counted(len(found), 'recording')}: {', '.join(words)}", file=sys.stderr)
