"""What the commands that talk to boards have in common: which board, how long to look, and boards without hardware."""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections.abc import AsyncIterator
from typing import TYPE_CHECKING

from brakebeat.cli.numbers import positive
from brakebeat.errors import DeviceError, InputError

if TYPE_CHECKING:
    from brakebeat.link import Wanted
    from brakebeat.virtual.boards import VirtualBoards

CAUTION = "Keep clear of wheel and strap while they move."


def add_board_arguments(parser: argparse.ArgumentParser, *, several: bool) -> None:
    """Options that say which board (or boards) is meant and how it is reached."""
    more = " (again for one more board)" if several else ""
    group = parser.add_argument_group("which board")
    group.add_argument(
        "--name",
        action="append",
        default=[],
        help=f"the board's advertised name{more}; default: the first found",
    )
    group.add_argument(
        "--address", action="append", default=[], help=f"the board's address, as your system shows it{more}"
    )
    group.add_argument(
        "--port", action="append", default=[], help=f"a serial port, for a board on a USB cable{more}"
    )
    if several:
        group.add_argument("--all", action="store_true", help="every board that is found by radio")
    group.add_argument(
        "--scan", type=positive, default=10.0, metavar="S", help="look for a board this long, in seconds (10)"
    )
    add_virtual_arguments(parser, several=several)
    parser.set_defaults(several=several)


def add_virtual_arguments(parser: argparse.ArgumentParser, *, several: bool) -> None:
    """Options for boards without hardware."""
    group = parser.add_argument_group("no hardware")
    group.add_argument(
        "--virtual",
        action="append",
        default=[],
        metavar="FILE",
        help="the firmware plays this recording (or sample:NAME) over a virtual radio"
        + (" (again for one more board)" if several else ""),
    )
    group.add_argument(
        "--speed", type=positive, default=1.0, metavar="X", help="with --virtual: X times as fast (1)"
    )
    group.add_argument(
        "--engine", choices=("auto", "micropython", "cpython"), default="auto", help=argparse.SUPPRESS
    )


def wanted_boards(args: argparse.Namespace) -> list[Wanted]:
    """The boards that the command line means. Raises InputError for options that do not go together."""
    from brakebeat.link import Wanted

    if not args.virtual and args.speed != 1.0:
        raise InputError("--speed: only with --virtual; a real wheel turns as fast as it is pulled")
    wanted = [Wanted(name=name) for name in args.name]
    wanted += [Wanted(address=address) for address in args.address]
    wanted += [Wanted(port=port) for port in args.port]
    if args.several and args.all and wanted:
        raise InputError("--all: leave out --name, --address and --port, or leave out --all")
    if not args.several and len(wanted) > 1:
        raise InputError("one board at a time: give one --name, --address or --port")
    if len(set(wanted)) < len(wanted):
        raise InputError("the same board is named twice; name each one once")
    return wanted


@contextlib.asynccontextmanager
async def virtual_boards(
    args: argparse.Namespace, *, wait_for_host: bool = True
) -> AsyncIterator[VirtualBoards | None]:
    """The boards of ``--virtual`` on the air while this is open; None where none was asked for."""
    if not args.virtual:
        yield None
        return
    from brakebeat.formats.recording import read_recording
    from brakebeat.samples import resolve
    from brakebeat.virtual.boards import boards_on_air

    recordings = [read_recording(resolve(file)) for file in args.virtual]
    async with boards_on_air(
        recordings, speed=args.speed, engine=args.engine, wait_for_host=wait_for_host
    ) as running:
        if running.boards[0].engine == "cpython" and args.engine == "auto":
            print("no MicroPython VM is installed here: the firmware runs on CPython", file=sys.stderr)
        yield running


async def all_in_reach(seconds: float) -> list[Wanted]:
    """Every board that advertises now. Raises DeviceError where there is none."""
    from brakebeat.link import Wanted
    from brakebeat.link.finder import scan

    seen = await scan(seconds)
    if not seen:
        raise DeviceError(nobody(seconds))
    return [Wanted(address=board.address) for board in seen]


def nobody(seconds: float) -> str:
    """What to say where no board was found."""
    return (
        f"no board was found within {seconds:g} s; check that it has power, is near, "
        "and that no other phone or computer is connected to it"
    )
