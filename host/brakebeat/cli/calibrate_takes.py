"""The recordings that a calibration works on: files, or takes from a board while somebody spins, pulls or drops."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from brakebeat.cli.live_edges import at_rest, live_recording, never, wants_live
from brakebeat.errors import InputError

if TYPE_CHECKING:
    from brakebeat.formats.recording import Recording


def recordings_for(args: argparse.Namespace, counts: tuple[int, ...]) -> list[Recording]:
    """The recordings that ``args`` names, or made live, as many takes as needed; ``counts``: how many may be given.

    Raises InputError for another number, or for recordings and a board at once.
    """
    from brakebeat.formats.recording import read_recording
    from brakebeat.samples import resolve

    if wants_live(args):
        if args.files:
            raise InputError(f"{args.files[0]}: give recordings or a board (--live, --port …), not both")
        return [_live(args, number, _takes(args, counts)) for number in range(_takes(args, counts))]
    if len(args.files) not in counts:
        wanted = " or ".join(str(count) for count in counts)
        raise InputError(
            f"{args.kind}: {len(args.files)} recordings given, {wanted} needed; "
            f"`brakebeat calibrate {args.kind} --how` says how to make one, --live takes edges from a board"
        )
    return [read_recording(resolve(file), args.rig) for file in args.files]


def _takes(args: argparse.Namespace, counts: tuple[int, ...]) -> int:
    """Live, each mass falls in a take of its own."""
    masses = getattr(args, "falling_mass", None)
    return len(masses) if masses and len(masses) in counts else counts[0]


def _live(args: argparse.Namespace, number: int, count: int) -> Recording:
    from brakebeat.calibrate.cautions import GUIDES
    from brakebeat.errors import DeviceError

    caution, guide = GUIDES[args.kind]
    # A wheel that is spun runs out; between pulls of a strap it stands as long as it takes to measure.
    spun = args.kind in ("magnets", "friction", "inertia")
    ends = "It ends by itself once the wheel stands" if spun else "Ctrl-C ends it"
    print(f"{caution}\n\n{guide}\n{ends}.", file=sys.stderr)
    if count > 1:
        print(f"\nTake {number + 1} of {count}{_what(args, number)}. ", end="", file=sys.stderr, flush=True)
        if sys.stdin.isatty():
            print("Press Enter when it is ready.", end="", file=sys.stderr, flush=True)
            sys.stdin.readline()
        print(file=sys.stderr)
    enough = at_rest if spun else never
    recorder, recording = live_recording(args, args.kind, number=number, count=count, enough=enough)
    if recording is None:
        raise DeviceError(
            f"{recorder.path}: not written, no edge has come; turn the wheel, check the sensor's wires and its "
            "distance from the magnets (`brakebeat board doctor` helps)"
        )
    return recording


def _what(args: argparse.Namespace, number: int) -> str:
    if args.falling_mass:
        return f": the mass of {args.falling_mass[number]:g} kg"
    return ": the bare wheel" if number == 0 else ": with the added inertia on"
