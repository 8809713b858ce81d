"""``brakebeat record``: a board's raw edges into a pulse recording."""

from __future__ import annotations

import argparse
import asyncio
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from brakebeat.cli.board_options import (
    CAUTION,
    add_board_arguments,
    wanted_boards,
)
from brakebeat.cli.live_edges import record_edges
from brakebeat.cli.numbers import count, positive
from brakebeat.errors import BrakebeatError, InputError
from brakebeat.wording import counted

if TYPE_CHECKING:
    from brakebeat.watch.recorder import Recorder


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("out", type=Path, metavar="FILE", help="the recording to write (*.csv)")
    parser.add_argument("--rig", type=Path, metavar="FILE", help="the board's rig file, for the header")
    parser.add_argument("--seconds", type=positive, metavar="N", help="stop after N seconds")
    parser.add_argument("--reps", type=count, metavar="N", help="stop after N reps")
    parser.add_argument(
        "--recover",
        action="store_true",
        help="make a recording of what an earlier call kept in FILE.part before it was killed; no board is asked",
    )
    parser.add_argument("--force", action="store_true", help="write over FILE if it is there already")
    add_board_arguments(parser, several=False)


def run(args: argparse.Namespace) -> int:
    """Record until told to stop (Ctrl-C is the usual way): 0, also where edges are missing (it says so)."""
    from brakebeat.formats.atomic import check_place
    from brakebeat.formats.recording import read_recording
    from brakebeat.samples import resolve
    from brakebeat.watch.part_file import look_for_unfinished
    from brakebeat.watch.recorder import Recorder
    from brakebeat.watch.rig_header import KnownRig

    if args.out.exists() and not args.force:
        raise InputError(f"{args.out}: is there already; choose another name, or --force to write over it")
    check_place(args.out)
    if args.recover:
        return _recover(args.out)
    look_for_unfinished(args.out)
    wanted = wanted_boards(args)
    played = [KnownRig(read_recording(resolve(file)).rig) for file in args.virtual]
    rigs = [KnownRig.from_file(args.rig)] if args.rig else played
    recorder = Recorder(args.out, rigs)
    trouble: BrakebeatError | None = None
    print(f"Recording to {args.out}; Ctrl-C ends it. {CAUTION}", file=sys.stderr)

    def enough(recorder: Recorder, _quiet_s: float) -> bool:
        return args.reps is not None and recorder.reps >= args.reps

    try:
        asyncio.run(record_edges(args, wanted, recorder, enough))
    except KeyboardInterrupt:
        print(file=sys.stderr)
    except BrakebeatError as error:
        trouble = error
    _save(recorder, trouble)
    return 0


def _save(recorder: Recorder, trouble: BrakebeatError | None) -> None:
    """Write what has come, then raise what went wrong."""
    if trouble is None or recorder.tape.count:
        try:
            recorder.save()
        except BrakebeatError:
            if trouble is not None:
                print(f"stopped: {trouble}", file=sys.stderr)
            raise
        print("\n".join(recorder.summary()))
    if trouble is not None:
        raise trouble


def _recover(out: Path) -> int:
    from brakebeat.watch.part_file import part_of, recover

    got = recover(out)
    print(
        f"{out}: {counted(got.edges, 'edge')} in {got.length_s:.1f} s, from {part_of(out)}, which is gone now"
    )
    if got.damaged_bytes:
        print(f"the last {got.damaged_bytes} bytes in it were cut off or damaged, and are left out")
    return 0
