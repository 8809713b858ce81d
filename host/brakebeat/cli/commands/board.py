"""``brakebeat board``: put the firmware onto a board, and see whether its sensor and magnets are sound."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from brakebeat.cli.numbers import positive
from brakebeat.errors import InputError

if TYPE_CHECKING:
    from brakebeat.install.run import Installed

_CAUTION = "Caution: take the strap off and let the wheel stand still before you touch wheel, sensor, board or wires."
_RIG_WORDS = {
    "kept": "the board keeps the rig file that it has",
    "written": "the rig file is on it",
    "replaced": "the rig file is on it; the old one is there as rig.old.toml",
    "same": "the board has this rig file already",
    "none": "there is NO rig file on it: it runs on defaults. Make one with `brakebeat rig new`, call this again with "
    "--rig",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """``install`` and ``doctor``."""
    ways = parser.add_subparsers(dest="way", required=True, metavar="WAY")
    install = ways.add_parser("install", help="put this version's firmware onto a board on a USB cable")
    install.add_argument("--port", help="the board's serial port; default: the only USB one")
    install.add_argument("--rig", type=Path, metavar="FILE", help="rig file for a board that has none yet")
    install.add_argument(
        "--replace-rig",
        action="store_true",
        help="put --rig there also where the board has one (which is kept)",
    )
    install.add_argument(
        "--wait", type=positive, default=30.0, metavar="S", help="for its first status, in seconds (30)"
    )
    install.add_argument("--json", action="store_true", help="print one JSON document and nothing else")


def run(args: argparse.Namespace) -> int:
    """Do it; 0 on success."""
    return _install(args)


def _install(args: argparse.Namespace) -> int:
    from brakebeat.install.find import board_port
    from brakebeat.install.run import install

    if args.replace_rig and args.rig is None:
        raise InputError("--replace-rig: name the rig file with --rig")
    port = board_port(args.port)
    print(f"{_CAUTION}\n{port}: installing; do not unplug it.", file=sys.stderr)
    progress = _Progress()
    try:
        done = install(port, args.rig, replace_rig=args.replace_rig, told=progress.show, status_s=args.wait)
    finally:
        progress.end()
    if args.json:
        print(json.dumps(done.to_document(), allow_nan=False))
    else:
        print("\n".join(_words(done)))
    return 0


def _words(done: Installed) -> list[str]:
    status = done.status
    lines = [
        f"{done.port}: {done.board}, MicroPython {done.facts.version_text}, {done.facts.architecture}",
        f"{done.files} files, {done.bytes / 1024:.0f} KiB, each with the right checksum; {_RIG_WORDS[done.rig]}",
    ]
    lines += [f"{old} was another program's: it is now {new} on the board" for old, new in done.moved.items()]
    lines.append(
        f"it runs: {status.name!r}, firmware {status.firmware_version}, {status.pulses_per_rev} edges a turn"
    )
    if status.trouble:
        lines.append(f"the board says: {status.trouble}")
    lines.append("next: `brakebeat board doctor` with a free wheel, then `brakebeat watch`")
    return lines


class _Progress:
    """One line on standard error that is written over; nothing where that is no terminal."""

    def __init__(self) -> None:
        self._terminal = sys.stderr.isatty()

    def show(self, file: str, done: int, total: int) -> None:
        if self._terminal:
            share = 100 * done // max(total, 1)
            print(f"\r{share:3d} %  {file:60.60}", end="", file=sys.stderr, flush=True)

    def end(self) -> None:
        if self._terminal:
            print(file=sys.stderr)
