"""The ``brakebeat`` command: picks a subcommand and turns errors into words and exit codes.

A subcommand is a module in ``brakebeat.cli.commands`` with ``add_arguments(parser)`` and ``run(args) -> int``.
Only the chosen one is imported, so that ``brakebeat --help`` stays quick.
"""

from __future__ import annotations

import argparse
import errno
import importlib
import os
import sys
from collections.abc import Sequence

from brakebeat import __version__
from brakebeat.cli.actions import Parser, add_action
from brakebeat.cli.ending import ends_as_by_ctrl_c
from brakebeat.cli.streams import mend_streams
from brakebeat.commands import COMMANDS
from brakebeat.errors import BrakebeatError, reason
from brakebeat.threads import one_thread_each

__all__ = ["COMMANDS", "main"]

# What a disk says that takes no more.
_FULL = (errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC))


def main(argv: Sequence[str] | None = None) -> int:
    """Run one ``brakebeat`` command line and return its exit code (0 good, 1 check failed, 2 input, 3 device)."""
    mend_streams()
    one_thread_each()
    arguments = list(sys.argv[1:] if argv is None else argv)
    chosen = next((word for word in arguments if word in COMMANDS), None)
    parser = Parser(
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
    if not arguments:
        parser.print_help(sys.stderr)
        return 2
    first = next((word for word in arguments if not word.startswith("-")), None)
    if first is not None and first not in COMMANDS:
        parser.no_such("command", first, list(COMMANDS))
    args = parser.parse_args(arguments)
    with ends_as_by_ctrl_c() as ended:
        return _run(args, ended)


def _run(args: argparse.Namespace, ended: list[int]) -> int:
    """Run the command that was chosen; every error of ours in words."""
    try:
        code: int = args.run(args)
        # Here there are still words for what goes wrong; at exit there are none.
        sys.stdout.flush()
        return code
    except BrakebeatError as error:
        print(f"brakebeat {args.command}: {error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        print(f"brakebeat {args.command}: stopped", file=sys.stderr)
        return 128 + ended[0] if ended else 130
    except BrokenPipeError:
        # The reader of our output went away (`| head`): nothing is wrong, but Python must not complain at exit.
        _print_no_more()
        return 0
    except OSError as error:
        if error.errno not in _FULL:
            raise
        what = error.filename or "what it prints"
        print(
            f"brakebeat {args.command}: {what}: cannot be written ({reason(error)}); make room, or choose another "
            "place",
            file=sys.stderr,
        )
        _print_no_more()
        return 2


def _print_no_more() -> None:
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
