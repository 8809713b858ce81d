"""``brakebeat set``: put a rig file, or another brake window, onto the board."""

from __future__ import annotations

import argparse
import asyncio
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from brakebeat.cli.board_options import add_board_arguments, virtual_boards, wanted_boards
from brakebeat.cli.numbers import read
from brakebeat.errors import InputError

if TYPE_CHECKING:
    from brakebeat.formats.rig import Rig
    from brakebeat.link import Wanted


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument(
        "--rig", type=Path, default=Path("rig.toml"), metavar="FILE", help="the board's rig file (rig.toml)"
    )
    group = parser.add_argument_group("the brake window, changed in the rig file and on the board")
    group.add_argument("--target", type=_ratio, metavar="F", help="brake fraction to aim at, 0 to 1")
    group.add_argument("--tolerance", type=_ratio, metavar="F", help="by which one may miss it, 0 to 0.5")
    group.add_argument("--preset", help="a window by name: first_quarter or last_third")
    parser.add_argument(
        "--learnt-magnets",
        action="store_true",
        help="take the magnets' offsets that the board has learnt from reps into the rig file, too",
    )
    add_board_arguments(parser, several=False)


def run(args: argparse.Namespace) -> int:
    """Send it: 0 once the board has taken it. A refusal is a DeviceError and changes nothing."""
    from brakebeat.formats.atomic import atomic_write
    from brakebeat.watch.rig_change import changed_rig

    wanted = wanted_boards(args)
    changes = _changes(args)
    changed_rig(
        args.rig, changes
    )  # what is wrong with the file or the values shows before a board is looked for
    rig, text = asyncio.run(_send(args, wanted, changes))
    changed = text != args.rig.read_bytes()
    if changed:
        with atomic_write(args.rig) as stream:
            stream.write(text)
    _print(args, rig, changed)
    return 0


def _changes(args: argparse.Namespace) -> dict[str, Any]:
    from brakebeat.formats.rig import BRAKE_PRESETS

    if args.preset is None:
        own = {"brake_target": args.target, "brake_tolerance": args.tolerance}
        given = {key: value for key, value in own.items() if value is not None}
        return {"brake_preset": "own", **given} if given else {}
    if args.target is not None or args.tolerance is not None:
        raise InputError(
            "--preset: a name or numbers of your own, not both; leave out --target and --tolerance"
        )
    if args.preset not in BRAKE_PRESETS:
        raise InputError(f"--preset {args.preset}: known are {', '.join(BRAKE_PRESETS)}")
    target, tolerance = BRAKE_PRESETS[args.preset]
    return {"brake_preset": args.preset, "brake_target": target, "brake_tolerance": tolerance}


async def _send(args: argparse.Namespace, wanted: list[Wanted], changes: dict[str, Any]) -> tuple[Rig, bytes]:
    """Put the changed rig file onto the board; returns the rig and the file's text."""
    from brakebeat.link import Finder, Ledger, Wanted
    from brakebeat.link.follow import connected, find
    from brakebeat.link.rig_transfer import learnt_magnets, send_rig
    from brakebeat.watch.rig_change import board_text, changed_rig

    async with virtual_boards(args, wait_for_host=False) as virtual:
        if virtual is not None:
            print("the recording is played first: nothing is changed while a wheel turns", file=sys.stderr)
            await virtual.played()
            wanted = wanted or [Wanted(address=board.address) for board in virtual.boards]
        finder = Finder()
        transport = await find(wanted[0] if wanted else Wanted(), finder, args.scan)
        async with connected(transport, finder, Ledger()) as connection:
            if args.learnt_magnets:
                changes = {**changes, "magnet_offsets_rad": await learnt_magnets(connection)}
            rig, text = changed_rig(args.rig, changes)
            short = board_text(text)
            print(f"sending {args.rig} to {transport.label} ({len(short)} bytes)", file=sys.stderr)
            await send_rig(
                connection,
                short,
                waiting=lambda: print("the wheel turns: waiting until it stands still", file=sys.stderr),
            )
            return rig, text


def _print(args: argparse.Namespace, rig: Rig, changed: bool) -> None:
    opens, closes = rig.brake_window
    print(f"brake window {opens:.2f} to {closes:.2f} of the way back; the board has taken {args.rig}.")
    if changed:
        print(f"{args.rig} was changed to match.")
    print("Pins, name and radio settings come into force when the board is switched on next.")


def _ratio(text: str) -> float:
    return read(float, text, lambda value: 0 <= value <= 1, "a number from 0 to 1 is needed")
