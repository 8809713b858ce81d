"""``brakebeat board``: put the firmware onto a board, and see whether its sensor and magnets are sound."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from brakebeat.cli.actions import add_action, choices
from brakebeat.cli.board_options import add_board_arguments
from brakebeat.cli.live_edges import add_live_arguments, at_rest, live_recording, wants_live
from brakebeat.cli.numbers import positive
from brakebeat.errors import InputError

if TYPE_CHECKING:
    from brakebeat.doctor.findings import Checkup
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
    ways = parser.add_subparsers(dest="way", required=True, metavar=choices(("install", "doctor")))
    install = add_action(ways, "install", "put this version's firmware onto a board on a USB cable")
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
    doctor = add_action(
        ways, "doctor", "spin the free wheel by hand: what is wrong, with which magnet, what to do"
    )
    doctor.add_argument("--recording", metavar="FILE", help="judge this recording of a spun wheel instead")
    doctor.add_argument(
        "--rig", metavar="RIG", help="rig file; what it states wins over the board's or the header"
    )
    doctor.add_argument("--json", action="store_true", help="print one JSON document and nothing else")
    add_live_arguments(doctor)
    add_board_arguments(doctor, several=False)


def run(args: argparse.Namespace) -> int:
    """Do it; 0 on success, 1 where the doctor finds something to mend."""
    return _install(args) if args.way == "install" else _doctor(args)


def _doctor(args: argparse.Namespace) -> int:
    from brakebeat.doctor.show import words

    checkup = _of_file(args) if args.recording else _of_board(args)
    if args.json:
        print(json.dumps(checkup.to_document(), allow_nan=False))
    else:
        print(words(checkup))
    return 0 if checkup.sound else 1


def _of_file(args: argparse.Namespace) -> Checkup:
    from brakebeat.doctor.examine import examine
    from brakebeat.formats.recording import read_recording
    from brakebeat.samples import resolve

    if wants_live(args):
        raise InputError("--recording: give a recording or a board (--live, --port …), not both")
    return examine(read_recording(resolve(args.recording), args.rig))


def _of_board(args: argparse.Namespace) -> Checkup:
    """Live edges of a wheel that the user spins now, and what the board says."""
    from brakebeat.calibrate.cautions import GUIDES
    from brakebeat.doctor.board_side import judge_board
    from brakebeat.doctor.examine import examine
    from brakebeat.doctor.findings import Checkup
    from brakebeat.formats.rig import Rig, read_rig

    caution, guide = GUIDES["magnets"]
    print(
        f"{caution}\n\n{guide}\nIt ends by itself once the wheel stands; Ctrl-C ends it, too.",
        file=sys.stderr,
    )
    recorder, recording = live_recording(args, "doctor", enough=at_rest)
    if recording is None:
        checkup = Checkup()
        checkup.add(
            "edges",
            "mend",
            "no edge has come",
            "turn the wheel. If that was done: check sensor_pin, wires and the sensor's supply, which side of the "
            "magnets faces the sensor (a hall switch answers to one pole), and its distance",
        )
    else:
        checkup = examine(recording)
    if recorder.status is not None:
        rig = recording.rig if recording else Rig(pulses_per_rev=recorder.status.pulses_per_rev)
        judge_board(checkup, recorder.status, read_rig(args.rig) if args.rig else rig, recorder.warning)
    return checkup


def _install(args: argparse.Namespace) -> int:
    from brakebeat.formats.rig import read_rig
    from brakebeat.install.find import board_port
    from brakebeat.install.run import install

    if args.replace_rig and args.rig is None:
        raise InputError("--replace-rig: name the rig file with --rig")
    port = board_port(args.port)
    if args.rig is not None:
        # What is wrong with it is said before anybody must not unplug anything.
        read_rig(args.rig)
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
