"""``brakebeat analyse``: the reference over one pulse recording."""

from __future__ import annotations

import argparse
import json


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    parser.add_argument("file", metavar="FILE", help="a pulse recording, or sample:NAME")
    parser.add_argument(
        "--rig", metavar="RIG", help="rig file; what it states wins over the recording's header"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON document instead of a table")


def run(args: argparse.Namespace) -> int:
    """Analyse the recording and print what was found."""
    from brakebeat.formats.recording import read_recording
    from brakebeat.reference import analyse
    from brakebeat.reference.show import table
    from brakebeat.samples import resolve

    analysis = analyse(read_recording(resolve(args.file), args.rig))
    print(json.dumps(analysis.to_document(), allow_nan=False) if args.json else table(analysis))
    return 0
