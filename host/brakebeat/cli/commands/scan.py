"""``brakebeat scan``: which boards are in reach, by radio and on USB cables."""

from __future__ import annotations

import argparse
import asyncio
import json
import sys
from typing import TYPE_CHECKING

from brakebeat.cli.board_options import add_virtual_arguments, nobody, virtual_boards
from brakebeat.cli.numbers import positive
from brakebeat.errors import DeviceError

if TYPE_CHECKING:
    from brakebeat.link.finder import Seen
    from brakebeat.link.serial_port import Port


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument(
        "--seconds", type=positive, default=5.0, metavar="S", help="how long to listen, in seconds (5)"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON document and nothing else")
    add_virtual_arguments(parser, several=True)


def run(args: argparse.Namespace) -> int:
    """List them: 0 where there are any. No Bluetooth is no error while a USB port is there."""
    from brakebeat.link.serial_port import usb_ports

    ports = [] if args.virtual else usb_ports()
    boards: list[Seen] = []
    trouble = ""
    try:
        boards = asyncio.run(_scan(args))
    except DeviceError as error:
        trouble = str(error)
    if args.json:
        print(json.dumps(_document(boards, ports)))
    else:
        _print(boards, ports)
    if boards or ports:
        if trouble:
            print(f"brakebeat scan: {trouble}", file=sys.stderr)
        return 0
    raise DeviceError(trouble or nobody(args.seconds))


async def _scan(args: argparse.Namespace) -> list[Seen]:
    from brakebeat.link.finder import scan

    async with virtual_boards(args):
        return await scan(args.seconds)


def _document(boards: list[Seen], ports: list[Port]) -> dict[str, object]:
    return {
        "schema": 1,
        "boards": [
            {"name": board.name, "address": board.address, "rssi_dbm": board.rssi_dbm} for board in boards
        ],
        "ports": [{"port": port.name, "description": port.description} for port in ports],
    }


def _print(boards: list[Seen], ports: list[Port]) -> None:
    width = max((len(board.name) for board in boards), default=0)
    for board in boards:
        strength = f"{board.rssi_dbm} dBm, {_strength_word(board.rssi_dbm)}"
        print(f"{board.name:{width}}  {board.address}  {strength}")
    if ports:
        print("USB serial ports (a board may be on them):")
    for port in ports:
        print(f"  --port {port.name}  {port.description}")


def _strength_word(rssi_dbm: int) -> str:
    """How strong that is, from memory: links get unsteady below some -85 dBm."""
    if rssi_dbm >= -70:
        return "strong"
    return "fair" if rssi_dbm >= -85 else "weak: bring it closer"
