"""``brakebeat serve``: the running session as a local web page, for a phone or a screen on the wall."""

from __future__ import annotations

import argparse
import time
import webbrowser
from typing import TYPE_CHECKING

from brakebeat.cli.board_options import add_board_arguments, virtual_boards, wanted_boards
from brakebeat.cli.numbers import read
from brakebeat.cli.session_options import add_session_arguments

if TYPE_CHECKING:
    from brakebeat.coach.choice import Choice
    from brakebeat.store import Store


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    add_session_arguments(parser)
    group = parser.add_argument_group("the page")
    group.add_argument(
        "--host",
        default="127.0.0.1",
        metavar="ADDRESS",
        help="listen there (127.0.0.1: this computer only; 0.0.0.0: your network, with a token)",
    )
    group.add_argument("--page-port", type=_port, default=8080, metavar="N", help="the page's port (8080)")
    group.add_argument(
        "--host-name",
        action="append",
        default=[],
        metavar="NAME",
        help="a name that the page is called by, too",
    )
    group.add_argument("--open", action="store_true", help="show the page in your browser")
    group.add_argument(
        "--stay", action="store_true", help="keep the page up after a --virtual recording's end, until Ctrl-C"
    )
    add_board_arguments(parser, several=False)


def run(args: argparse.Namespace) -> int:
    """Serve until told to stop."""
    import asyncio

    from brakebeat.coach.options import chosen
    from brakebeat.store import open_store

    wanted_boards(args)
    with open_store(args.store) as store:
        return asyncio.run(_serve(args, store, chosen(args, store)))


async def _serve(args: argparse.Namespace, store: Store, choice: Choice) -> int:
    import asyncio

    from brakebeat.coach.document import session_document
    from brakebeat.coach.keeper import Keeper
    from brakebeat.coach.plain import PlainCoach, closing, opening
    from brakebeat.coach.runner import run_session, the_board, until
    from brakebeat.coach.session import CoachSession
    from brakebeat.page.guard import is_loopback
    from brakebeat.page.hub import Hub
    from brakebeat.page.screen import PageScreen
    from brakebeat.page.server import page

    session = CoachSession(choice)
    hub = Hub(lambda: session_document(session, time.time()))
    async with (
        page(hub, args.host, args.page_port, args.host_name) as address,
        virtual_boards(args) as virtual,
    ):
        print(opening(choice))
        print(f"the page: {address}  (Ctrl-C ends it)", flush=True)
        if args.open:
            webbrowser.open(address)
        if not is_loopback(args.host):
            print("whoever has this address can look on; it is not encrypted: use it in a network you trust")
        await run_session(
            session,
            Keeper(store, choice),
            [PageScreen(hub), PlainCoach(session)],
            the_board(wanted_boards(args), virtual),
            scan_s=args.scan,
            over=until(args.stop_after, virtual),
        )
        for line in closing(session):
            print(line, flush=True)
        if args.stay:
            hub.changed()
            await asyncio.Event().wait()
    return 0


def _port(text: str) -> int:
    return read(int, text, lambda value: 0 <= value <= 65535, "a port is 0 (any free one) to 65535")
