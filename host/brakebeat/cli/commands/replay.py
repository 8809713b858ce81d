"""``brakebeat replay``: the board's own firmware over a recording."""

from __future__ import annotations

import argparse
import json
import sys


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of ``brakebeat replay``."""
    parser.add_argument("file", metavar="FILE", help="a pulse recording, or sample:NAME")
    parser.add_argument(
        "--rig", metavar="FILE", help="a rig file; its values win over the recording's header"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON document and nothing else")
    parser.add_argument(
        "--engine",
        choices=("auto", "micropython", "cpython"),
        default="auto",
        help="what runs the firmware (auto: the MicroPython VM where it is installed)",
    )


def run(args: argparse.Namespace) -> int:
    """Replay one recording and print what the board would have sent."""
    from brakebeat.board import replay
    from brakebeat.cli.table import print_analysis
    from brakebeat.formats.recording import read_recording
    from brakebeat.samples import resolve

    recording = read_recording(resolve(args.file), args.rig)
    analysis = replay(recording, engine=args.engine)
    if analysis.engine == "cpython" and args.engine == "auto":
        print("No MicroPython VM here: the same firmware ran on CPython.", file=sys.stderr)
    if args.json:
        print(json.dumps(analysis.to_document()))
    else:
        print_analysis(analysis)
    return 0
