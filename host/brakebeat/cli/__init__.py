"""The ``brakebeat`` command: picks a subcommand and turns errors into words and exit codes.

A subcommand is a module in ``brakebeat.cli.commands`` with ``add_arguments(parser)`` and ``run(args) -> int``.
Only the chosen one is imported, so that ``brakebeat --help`` stays quick.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence

from brakebeat import __version__
from brakebeat.errors import BrakebeatError

# name -> what the help says of it
COMMANDS = {
    "demo": "the whole chain on a simulated rig, from pulses to a picture",
    "replay": "run the board's firmware over a pulse recording",
    "analyse": "run the reference over a pulse recording",
    "check": "compare firmware and reference over recordings, with a verdict",
    "simulate": "write the recording of an invented athlete on an invented rig",
    "bench": "measure what everything costs: firmware, reference, many recordings, start, store",
    "samples": "list the recordings that come with the package, or copy them out",
    "log": "what was trained: list, show, note, edit, delete, undo, recompute",
    "import": "take recordings, fetched reps or an earlier export into the log",
    "export": "write the log as CSV, Parquet or JSON",
    "plan": "lay out a training block around competitions, as text and as a calendar file",
    "profile": "what an athlete does at several inertias, and which one suits the goal",
    "coach": "a session hands-free in big letters: sets, reps, rest, brake, drop-off",
    "serve": "the same as a local web page, for a phone or a screen on the wall",
    "report": "a session or an athlete's weeks as one HTML file that needs no network",
    "scan": "list the boards in reach, by radio and on USB cables",
    "watch": "follow boards and show each rep as it comes, in a live table",
    "fetch": "get the reps that were pulled while no computer was near",
    "record": "record a board's raw edges into a pulse recording",
    "calibrate": "magnets, friction, inertia, strap and zero from recordings made for the purpose",
    "board": "put the firmware onto a board; see whether its sensor and magnets are sound",
    "rig": "make a rig file, or show what one gives",
    "vcd": "a logic analyser's Value Change Dump to a pulse recording, and back",
    "set": "put a rig file, or another brake window, onto the board",
}


def main(argv: Sequence[str] | None = None) -> int:
    """Run one ``brakebeat`` command line and return its exit code (0 good, 1 check failed, 2 input, 3 device)."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    chosen = next((word for word in arguments if word in COMMANDS), None)
    parser = argparse.ArgumentParser(
        prog="brakebeat",
        description="Numbers at each rep for a home-built flywheel trainer.",
        epilog="A spinning wheel and a taut strap can injure: see the cautions in the README before you pull.",
    )
    parser.add_argument("--version", action="version", version=f"brakebeat {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for name, summary in COMMANDS.items():
        command = commands.add_parser(name, help=summary, description=summary[0].upper() + summary[1:] + ".")
        if name == chosen:
            module = importlib.import_module(f"brakebeat.cli.commands.{name}")
            module.add_arguments(command)
            command.set_defaults(run=module.run)
    args = parser.parse_args(arguments)
    try:
        return args.run(args)
    except BrakebeatError as error:
        print(f"brakebeat {args.command}: {error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        print(f"brakebeat {args.command}: stopped", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of our output went away (`| head`): nothing is wrong, but Python must not complain at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
