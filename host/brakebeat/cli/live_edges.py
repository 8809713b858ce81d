"""Edges as they come from a board, kept in a recording: what `record`, `calibrate` and `board doctor` share."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import datetime
import shutil
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from brakebeat.cli.board_options import virtual_boards, wanted_boards
from brakebeat.cli.numbers import positive
from brakebeat.errors import BrakebeatError, InputError
from brakebeat.wording import counted

if TYPE_CHECKING:
    from brakebeat.formats.recording import Recording
    from brakebeat.link import Event, Wanted
    from brakebeat.virtual.boards import VirtualBoards
    from brakebeat.watch.recorder import Recorder

# Edges are on disk as they come; a power cut on this side costs no more than this.
_SETTLE_EVERY_S = 10.0
_WIDEST = 110
_REDRAW_S = 0.2
_LINE_EVERY_S = 5.0
# A played recording whose last edges never come has ended all the same.
_LAST_EDGES_S = 3.0
# A spun wheel stands still when no edge has come for so long.
REST_S = 5.0
_FEWEST_EDGES = 12


def never(_recorder: Recorder, _quiet_s: float) -> bool:
    """Goes on until it is stopped."""
    return False


def at_rest(recorder: Recorder, quiet_s: float) -> bool:
    """The wheel has turned and now stands."""
    return recorder.tape.count >= _FEWEST_EDGES and quiet_s >= REST_S


def wants_live(args: argparse.Namespace) -> bool:
    """Whether the call names a board, or says that there is one."""
    return bool(args.live or args.name or args.address or args.port or args.virtual)


def add_live_arguments(parser: argparse.ArgumentParser) -> None:
    """Options for a command that takes live edges in place of a recording; those of the board are apart."""
    group = parser.add_argument_group("live edges instead of a recording")
    group.add_argument("--live", action="store_true", help="from the first board that is found by radio")
    group.add_argument(
        "--seconds", type=positive, metavar="N", help="stop after N seconds (Ctrl-C stops, too)"
    )
    group.add_argument(
        "--keep",
        type=Path,
        metavar="FILE",
        help="keep them in this recording (default: a name with date and time)",
    )


def live_recording(
    args: argparse.Namespace,
    what: str,
    *,
    number: int = 0,
    count: int = 1,
    enough: Callable[[Recorder, float], bool] = never,
) -> tuple[Recorder, Recording | None]:
    """Take edges from the board that ``args`` names, keep them in a file, and read that file.

    Args:
        what: the beginning of the file's name. number, count: which of several takes this one is.
        enough: says after each event whether the take is over.

    The recording is None where no edge has come. Raises as ``record_edges``.
    """
    from brakebeat.formats.recording import read_recording
    from brakebeat.samples import resolve
    from brakebeat.watch.recorder import Recorder
    from brakebeat.watch.rig_header import KnownRig

    path = _kept_at(args, what, number, count)
    one = argparse.Namespace(**vars(args) | {"virtual": args.virtual[number : number + 1]})
    if args.virtual and not one.virtual:
        raise InputError(f"--virtual: {count} recordings are needed, one for each take, in their order")
    wanted = wanted_boards(one)
    played = [KnownRig(read_recording(resolve(file)).rig) for file in one.virtual]
    recorder = Recorder(path, [KnownRig.from_file(Path(args.rig))] if args.rig else played)
    take(one, wanted, recorder, enough)
    if not recorder.tape.count:
        return recorder, None
    recorder.save()
    print("\n".join(recorder.summary()), file=sys.stderr)
    return recorder, read_recording(path, args.rig)


def _kept_at(args: argparse.Namespace, what: str, number: int, count: int) -> Path:
    from brakebeat.formats.atomic import check_place
    from brakebeat.watch.part_file import look_for_unfinished

    now = datetime.datetime.now().strftime("%Y%m%d-%H%M%S")
    path: Path = args.keep or Path(f"{what}-{now}.csv")
    if count > 1:
        path = path.with_stem(f"{path.stem}-{number + 1}")
    if path.exists():
        raise InputError(f"{path}: is there already; choose another name with --keep")
    check_place(path)
    look_for_unfinished(path)
    return path


def take(
    args: argparse.Namespace,
    wanted: list[Wanted],
    recorder: Recorder,
    enough: Callable[[Recorder, float], bool],
) -> None:
    """``record_edges`` until it is enough, or Ctrl-C; a link's error counts only where no edge has come."""
    try:
        asyncio.run(record_edges(args, wanted, recorder, enough))
    except KeyboardInterrupt:
        print(file=sys.stderr)
    except BrakebeatError as error:
        if not recorder.tape.count:
            raise
        print(f"stopped: {error}", file=sys.stderr)


async def record_edges(
    args: argparse.Namespace,
    wanted: list[Wanted],
    recorder: Recorder,
    enough: Callable[[Recorder, float], bool] = never,
) -> None:
    """Fill ``recorder`` until ``enough(recorder, seconds without an edge)``, or a played recording is through.

    Raises:
        DeviceError: no board, no Bluetooth, no bond. InputError: the rig file is another wheel's.
    """
    from brakebeat.link import Wanted, follow

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
                    await _settle_now_and_then(recorder, progress)
                    if enough(recorder, progress.quiet_s()):
                        break
                    if virtual is not None and _played(virtual, recorder, progress.quiet_s()):
                        break
        progress.end()


def _played(virtual: VirtualBoards, recorder: Recorder, quiet_s: float) -> bool:
    """Whether a played recording is through: all its edges are here, or the last one came a while ago."""
    over = all(board.played.is_set() for board in virtual.boards)
    return over and (recorder.tape.count >= virtual.edges or quiet_s >= _LAST_EDGES_S)


async def _settle_now_and_then(recorder: Recorder, progress: _Progress) -> None:
    if recorder.tape.count and progress.settling_is_due():
        await asyncio.to_thread(recorder.settle)


class _Progress:
    """One line on standard error that is written over; where that is no terminal, a line now and then."""

    def __init__(self, recorder: Recorder) -> None:
        self._recorder = recorder
        self._terminal = sys.stderr.isatty()
        self._shown_s = self._settled_s = time.monotonic()
        self._edge_s = self._shown_s
        self._link = "looking for the board"
        self._trouble = False

    def quiet_s(self) -> float:
        """How long no edge has come."""
        return time.monotonic() - self._edge_s

    def settling_is_due(self) -> bool:
        now_s = time.monotonic()
        due = now_s - self._settled_s >= _SETTLE_EVERY_S
        if due:
            self._settled_s = now_s
        return due

    def show(self, event: Event) -> None:
        from brakebeat.link import Connected, EdgesArrived, LinkLost, Waiting

        if isinstance(event, EdgesArrived):
            self._edge_s = time.monotonic()
        trouble = bool(self._recorder.disk_trouble)
        news = isinstance(event, Connected | LinkLost) or trouble is not self._trouble
        self._trouble = trouble
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
        state = recorder.disk_trouble or self._link
        got = f"{counted(recorder.tape.count, 'edge')}{holes}, {counted(recorder.reps, 'rep')}"
        line = f"{recorder.length_s:7.1f} s  {got}  {state}"
        if self._terminal:
            # A line as wide as the terminal would go on below, and stay there.
            width = min(shutil.get_terminal_size().columns - 1, _WIDEST)
            print(f"\r{line[:width]:{width}}", end="", file=sys.stderr, flush=True)
        else:
            print(line, file=sys.stderr, flush=True)
