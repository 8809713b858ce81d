"""``brakebeat coach``: a session from the first rep to the last rest, in big letters, hands-free."""

from __future__ import annotations

import argparse
import contextlib
import sys
from typing import TYPE_CHECKING

from brakebeat.cli.board_options import add_board_arguments, virtual_boards, wanted_boards
from brakebeat.cli.session_options import add_session_arguments

if TYPE_CHECKING:
    from brakebeat.coach.choice import Choice
    from brakebeat.store import Store


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    add_session_arguments(parser)
    parser.add_argument(
        "--plain", action="store_true", help="lines instead of big letters, on a terminal too"
    )
    add_board_arguments(parser, several=False)


def run(args: argparse.Namespace) -> int:
    """Coach until told to stop; each rep is in the store before the board forgets it."""
    import asyncio

    from brakebeat.coach.options import chosen
    from brakebeat.store import open_store

    wanted_boards(args)
    with open_store(args.store) as store:
        return asyncio.run(_coach(args, store, chosen(args, store)))


async def _coach(args: argparse.Namespace, store: Store, choice: Choice) -> int:
    from brakebeat.coach.keeper import Keeper
    from brakebeat.coach.plain import PlainCoach, closing, opening
    from brakebeat.coach.runner import CoachScreen, run_session, the_board, until
    from brakebeat.coach.session import CoachSession
    from brakebeat.coach.terminal import TerminalCoach

    session = CoachSession(choice)
    print(opening(choice), flush=True)
    plain = args.plain or not sys.stdout.isatty()
    try:
        async with virtual_boards(args) as virtual:
            shows: contextlib.AbstractContextManager[CoachScreen] = (
                contextlib.nullcontext(PlainCoach(session)) if plain else TerminalCoach(session)
            )
            with shows as shown:
                await run_session(
                    session,
                    Keeper(store, choice),
                    [shown],
                    the_board(wanted_boards(args), virtual),
                    scan_s=args.scan,
                    over=until(args.stop_after, virtual),
                )
    finally:
        # The big letters are gone by now; Ctrl-C is the usual end.
        for line in closing(session):
            print(line)
    return 0
