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
from brakebeat.cli.actions import add_action
from brakebeat.commands import COMMANDS
from brakebeat.errors import BrakebeatError
from brakebeat.threads import one_thread_each

__all__ = ["COMMANDS", "main"]


def main(argv: Sequence[str] | None = None) -> int:
    """Run one ``brakebeat`` command line and return its exit code (0 good, 1 check failed, 2 input, 3 device)."""
    one_thread_each()
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
        command = add_action(commands, name, summary)
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
