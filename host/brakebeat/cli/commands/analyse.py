"""``brakebeat analyse``: the reference over pulse recordings, one or thousands."""

from __future__ import annotations

import argparse
import json

from brakebeat.cli.many_call import FILES_HELP, add_many_arguments, wants_many, work_all


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    parser.add_argument("files", nargs="+", metavar="FILE", help=FILES_HELP)
    parser.add_argument(
        "--rig", metavar="RIG", help="rig file; what it states wins over the recording's header"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON document instead of a table")
    add_many_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Analyse the recordings and print what was found."""
    many = wants_many(args) or len(args.files) > 1
    return _many(args) if many else _one(args)


def _one(args: argparse.Namespace) -> int:
    from brakebeat.formats.recording import read_recording
    from brakebeat.reference import analyse
    from brakebeat.reference.show import table
    from brakebeat.samples import resolve

    analysis = analyse(read_recording(resolve(args.files[0]), args.rig))
    print(json.dumps(analysis.to_document(), allow_nan=False) if args.json else table(analysis))
    return 0


def _many(args: argparse.Namespace) -> int:
    found = work_all(args, ["reference"])
    from brakebeat.many.gather import analyse_document, exit_code, write_dataset
    from brakebeat.reference.show import line

    if args.out and not args.no_parquet:
        write_dataset(args.out, found, ["reference"])
    if args.json:
        print(json.dumps(analyse_document(found), allow_nan=False))
    else:
        for one in found:
            if one.fault is None:
                print(f"{one.name}: {line(one.analysis('reference'))}")
    return exit_code(found)
