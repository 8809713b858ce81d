"""A calibration's result into a rig file, on consent only."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from brakebeat.errors import InputError

if TYPE_CHECKING:
    from brakebeat.calibrate.result import Calibration


def check_writable(args: argparse.Namespace) -> None:
    """Raises InputError where ``--write`` names no sound rig file, or nobody is there to agree."""
    from brakebeat.formats.rig import read_rig

    read_rig(args.write)
    if not args.yes and not sys.stdin.isatty():
        raise InputError(
            f"--write {args.write}: there is nobody to ask here; add --yes to write without asking"
        )


def offer_to_write(args: argparse.Namespace, result: Calibration) -> None:
    """Put what was found into the rig file if the user agrees; the old file is kept.

    Raises InputError where nothing is known well enough, or the file cannot be written.
    """
    from brakebeat.calibrate.rig_file import update_rig

    values = result.rig_values()
    if not values:
        raise InputError(
            f"--write {args.write}: nothing is known well enough to write (see the notes); the file stays as it is"
        )
    if not args.yes:
        print(f"Write {', '.join(values)} into {args.write}? [y/N] ", end="", file=sys.stderr, flush=True)
        if sys.stdin.readline().strip().lower() not in ("y", "yes"):
            print("Nothing was written.", file=sys.stderr)
            return
    kept = update_rig(args.write, values)
    print(f"{args.write}: written; the old one is {kept}", file=sys.stderr)
