"""``brakebeat record``: a board's raw edges into a pulse recording."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from brakebeat.cli.board_options import (
    CAUTION,
    add_board_arguments,
    virtual_boards,
    wanted_boards,
)
from brakebeat.cli.numbers import count, positive
from brakebeat.errors import BrakebeatError, InputError

if TYPE_CHECKING:
    from brakebeat.cli.board_options import VirtualBoards
    from brakebeat.link import Event, Wanted
    from brakebeat.watch.recorder import Recorder

# A crash or an empty battery on this side costs no more than this.
_SAVE_EVERY_S = 60.0
_REDRAW_S = 0.2
_LINE_EVERY_S = 5.0
# A played recording whose last edges never come has ended all the same.
_SETTLE_S = 3.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("out", type=Path, metavar="FILE", help="the recording to write (*.csv)")
    parser.add_argument("--rig", type=Path, metavar="FILE", help="the board's rig file, for the header")
    parser.add_argument("--seconds", type=positive, metavar="N", help="stop after N seconds")
    parser.add_argument("--reps", type=count, metavar="N", help="stop after N reps")
    parser.add_argument("--force", action="store_true", help="write over FILE if it is there already")
    add_board_arguments(parser, several=False)


def run(args: argparse.Namespace) -> int:
    """Record until told to stop (Ctrl-C is the usual way): 0, also where edges are missing (it says so)."""
    from brakebeat.formats.recording import read_recording
    from brakebeat.samples import resolve
    from brakebeat.watch.recorder import Recorder
    from brakebeat.watch.rig_header import KnownRig

    if args.out.exists() and not args.force:
        raise InputError(f"{args.out}: is there already; choose another name, or --force to write over it")
    if not args.out.parent.is_dir():
        raise InputError(f"{args.out.parent}: no such folder; make it first")
    wanted = wanted_boards(args)
    played = [KnownRig(read_recording(resolve(file)).rig) for file in args.virtual]
    rigs = [KnownRig.from_file(args.rig)] if args.rig else played
    recorder = Recorder(args.out, rigs)
    trouble: BrakebeatError | None = None
    try:
        asyncio.run(_record(args, wanted, recorder))
    except KeyboardInterrupt:
        print(file=sys.stderr)
    except BrakebeatError as error:
        trouble = error
    if trouble is None or recorder.tape.count:
        recorder.save()
        print("\n".join(recorder.summary()))
    if trouble is not None:
        raise trouble
    return 0


async def _record(args: argparse.Namespace, wanted: list[Wanted], recorder: Recorder) -> None:
    from brakebeat.link import Wanted, follow

    print(f"Recording to {args.out}; Ctrl-C ends it. {CAUTION}", file=sys.stderr)
    async with virtual_boards(args) as virtual:
        if virtual is not None and not wanted:
            wanted = [Wanted(address=board.address) for board in virtual.boards]
        stream = follow(wanted[0] if wanted else Wanted(), scan_s=args.scan, endless=True, raw=True)
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(args.seconds), contextlib.aclosing(stream) as events:
                progress = _Progress(recorder)
                async for event in events:
                    recorder.take(event)
                    progress.show(event)
                    await _save_now_and_then(recorder, progress)
                    if args.reps is not None and recorder.reps >= args.reps:
                        break
                    if virtual is not None and _played(virtual, recorder, progress.quiet_s()):
                        break
        progress.end()


def _played(virtual: VirtualBoards, recorder: Recorder, quiet_s: float) -> bool:
    """Whether a played recording is through: all its edges are here, or the last one came a while ago."""
    over = all(board.played.is_set() for board in virtual.boards)
    return over and (recorder.tape.count >= virtual.edges or quiet_s >= _SETTLE_S)


async def _save_now_and_then(recorder: Recorder, progress: _Progress) -> None:
    if recorder.tape.count and progress.save_is_due():
        await asyncio.to_thread(recorder.save)


class _Progress:
    """One line on standard error that is written over; where that is no terminal, a line now and then."""

    def __init__(self, recorder: Recorder) -> None:
        self._recorder = recorder
        self._terminal = sys.stderr.isatty()
        self._shown_s = self._saved_s = time.monotonic()
        self._edge_s = self._shown_s
        self._link = "looking for the board"

    def quiet_s(self) -> float:
        """How long no edge has come."""
        return time.monotonic() - self._edge_s

    def save_is_due(self) -> bool:
        now_s = time.monotonic()
        due = now_s - self._saved_s >= _SAVE_EVERY_S
        if due:
            self._saved_s = now_s
        return due

    def show(self, event: Event) -> None:
        from brakebeat.link import Connected, EdgesArrived, LinkLost, Waiting

        if isinstance(event, EdgesArrived):
            self._edge_s = time.monotonic()
        news = isinstance(event, Connected | LinkLost)
        if isinstance(event, Connected):
            self._link = f"connected to {event.name}"
        elif isinstance(event, LinkLost):
            self._link = f"LINK LOST ({event.reason})"
        elif isinstance(event, Waiting):
            self._link = f"link lost, trying again in {event.pause_s:g} s"
        every_s = _REDRAW_S if self._terminal else _LINE_EVERY_S
        if news or time.monotonic() - self._shown_s >= every_s:
            self._print()

    def end(self) -> None:
        self._print()
        if self._terminal:
            print(file=sys.stderr)

    def _print(self) -> None:
        self._shown_s = time.monotonic()
        recorder = self._recorder
        holes = f", {len(recorder.tape.holes)} HOLES" if recorder.tape.holes else ""
        line = f"{recorder.length_s:7.1f} s  {recorder.tape.count} edges{holes}, {recorder.reps} reps  {self._link}"
        if self._terminal:
            print(f"\r{line[:110]:110}", end="", file=sys.stderr, flush=True)
        else:
            print(line, file=sys.stderr, flush=True)
