"""``brakebeat demo``: the whole chain on a simulated rig, from pulses to a picture."""

from __future__ import annotations

import argparse
import json
import sys
import time
from functools import partial
from pathlib import Path

DEFAULT_FOLDER = Path("brakebeat-demo")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what ``demo`` takes."""
    parser.add_argument(
        "--out",
        type=Path,
        default=DEFAULT_FOLDER,
        metavar="DIR",
        help=f"directory for the recording and the picture (default: {DEFAULT_FOLDER})",
    )
    parser.add_argument(
        "--speed", type=_speed, default=1.0, metavar="X", help="play the set X times as fast as life (1)"
    )
    parser.add_argument(
        "--json", action="store_true", help="print one JSON document; the words go to standard error"
    )
    parser.add_argument(
        "--engine",
        choices=("auto", "micropython", "cpython"),
        default="auto",
        help="what runs the firmware (default: MicroPython where it is installed)",
    )


def run(args: argparse.Namespace) -> int:
    """Run the demo: 0 where firmware and reference agree, 1 where not."""
    from brakebeat.check.show import console_for, show_agreement
    from brakebeat.demo.run import run_demo

    began_s = time.monotonic()
    stream = sys.stderr if args.json else sys.stdout
    console = console_for(stream)
    say = partial(print, file=stream, flush=True)
    outcome = run_demo(args.out, args.speed, args.engine, say)
    say("\nThe host's independent reference has worked the same pulses out, its own way:")
    show_agreement(outcome.report, console)
    say(f"picture: {outcome.folder.picture}")
    say(f"done in {time.monotonic() - began_s:.0f} s; next: brakebeat check {outcome.folder.recording}")
    if args.json:
        print(json.dumps(outcome.to_document(), allow_nan=False, ensure_ascii=False, indent=1))
    return 0 if outcome.report.verdict == "pass" else 1


def _speed(text: str) -> float:
    value = float(text)
    if not 0.1 <= value <= 100:
        raise argparse.ArgumentTypeError(f"{text}: give a speed from 0.1 to 100")
    return value
