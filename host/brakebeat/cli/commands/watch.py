"""``brakebeat watch``: follow one board or several and show each rep as it comes."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
from pathlib import Path
from typing import TYPE_CHECKING

from brakebeat.cli.board_options import (
    CAUTION,
    add_board_arguments,
    all_in_reach,
    virtual_boards,
    wanted_boards,
)
from brakebeat.cli.numbers import count, positive
from brakebeat.errors import InputError

if TYPE_CHECKING:
    from brakebeat.link import Wanted
    from brakebeat.virtual.boards import VirtualBoards
    from brakebeat.watch.watcher import RigsOf


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("--seconds", type=positive, metavar="N", help="stop after N seconds")
    parser.add_argument("--reps", type=count, metavar="N", help="stop after N reps")
    parser.add_argument(
        "--check",
        action="store_true",
        help="run the reference on the streamed edges and say at each rep how far board and reference differ",
    )
    parser.add_argument(
        "--rig",
        type=Path,
        action="append",
        default=[],
        metavar="FILE",
        help="with --check: the board's rig file (again for one more board)",
    )
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--plain", action="store_true", help="lines instead of a live table, on a terminal too")
    how.add_argument(
        "--json-lines", action="store_true", help="a JSON object for each event instead of lines for people"
    )
    add_board_arguments(parser, several=True)


def run(args: argparse.Namespace) -> int:
    """Watch until told to stop; 0. Troubles with Bluetooth are DeviceErrors."""
    if args.rig and not args.check:
        raise InputError("--rig: only --check needs it; reps come from the board worked out")
    wanted = wanted_boards(args)
    rigs_of = _rigs_of(args) if args.check else None
    return asyncio.run(_watch(args, wanted, rigs_of))


async def _watch(args: argparse.Namespace, wanted: list[Wanted], rigs_of: RigsOf | None) -> int:
    from brakebeat.watch.screens import screen
    from brakebeat.watch.watcher import Watcher

    async with virtual_boards(args) as virtual:
        watcher = Watcher(await _which(args, wanted, virtual), rigs_of)
        with (
            screen(
                watcher.views,
                json_lines=args.json_lines,
                plain_lines=args.plain,
                checked=args.check,
                caution=CAUTION,
            ) as shown,
            contextlib.suppress(TimeoutError),
        ):
            async with asyncio.timeout(args.seconds):
                await watcher.run(shown, lambda reps: _over(args, virtual, reps), args.scan)
    return 0


async def _which(
    args: argparse.Namespace, wanted: list[Wanted], virtual: VirtualBoards | None
) -> list[Wanted]:
    from brakebeat.link import Wanted

    if args.all:
        return await all_in_reach(args.scan)
    if wanted:
        return wanted
    if virtual is not None:
        return [Wanted(address=board.address) for board in virtual.boards]
    return [Wanted()]


def _over(args: argparse.Namespace, virtual: VirtualBoards | None, reps: int) -> bool:
    if args.reps is not None and reps >= args.reps:
        return True
    return virtual is not None and virtual.over(reps)


def _rigs_of(args: argparse.Namespace) -> RigsOf:
    """Which rigs a board's may be: those of the rig files, or the one of a virtual board's recording."""
    from brakebeat.formats.recording import read_recording
    from brakebeat.samples import resolve
    from brakebeat.watch.rig_header import KnownRig

    rigs = [KnownRig.from_file(path) for path in args.rig]
    if args.virtual and not rigs:
        # The last byte of a virtual board's address is its number, from 1.
        own = [KnownRig(read_recording(resolve(file)).rig) for file in args.virtual]
        return lambda event: [own[int(event.address[-2:], 16) - 1]]
    return lambda event: rigs
