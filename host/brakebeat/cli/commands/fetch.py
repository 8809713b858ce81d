"""``brakebeat fetch``: reps that were pulled while no computer was near, from the board's journal."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from brakebeat.cli.board_options import add_board_arguments, virtual_boards, wanted_boards
from brakebeat.cli.numbers import read

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from brakebeat.link import Event, Wanted
    from brakebeat.watch.rep_book import Fetched, RepBook

# The journal's last number may be a hole: after so long without a record there is none.
_SILENCE_S = 5.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FILE",
        help="add the reps to this file (JSON lines, a rep a line) and fetch only what it lacks",
    )
    parser.add_argument(
        "--from",
        dest="first",
        type=_number,
        metavar="N",
        help="begin with number N of the journal (default: what --out lacks, else everything)",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON document and nothing else")
    add_board_arguments(parser, several=False)


def run(args: argparse.Namespace) -> int:
    """Fetch and print or keep: 0, also where there was nothing new."""
    from brakebeat.formats.atomic import check_place
    from brakebeat.watch.rep_book import RepBook

    wanted = wanted_boards(args)
    if args.out is not None:
        check_place(args.out)
    book = RepBook(args.out) if args.out is not None else None
    fetched = asyncio.run(_fetch(args, wanted, book))
    new = 0 if book is None else book.add(fetched.documents())
    if args.json:
        print(json.dumps({"schema": 1, "board": fetched.board, "reps": fetched.documents()}, allow_nan=False))
    else:
        _print(args, fetched, book, new)
    return 0


async def _fetch(args: argparse.Namespace, wanted: list[Wanted], book: RepBook | None) -> Fetched:
    from brakebeat.link import Ledger, Wanted, follow
    from brakebeat.watch.rep_book import Fetched

    known = {} if book is None or args.first is not None else book.next_numbers()
    fetched = Fetched()
    async with virtual_boards(args, wait_for_host=False) as virtual:
        if virtual is not None:
            print("the recording is played first; its reps are fetched afterwards", file=sys.stderr)
            await virtual.played()
            wanted = wanted or [Wanted(address=board.address) for board in virtual.boards]
        ledger = Ledger(args.first or 0, known)
        stream = follow(wanted[0] if wanted else Wanted(), scan_s=args.scan, ledger=ledger)
        async with contextlib.aclosing(stream) as events:
            async for event in _until_all_is_there(events):
                fetched.take(event)
                _say(event, fetched)
    return fetched


async def _until_all_is_there(events: AsyncIterator[Event]) -> AsyncIterator[Event]:
    from brakebeat.link import CaughtUp, LinkLost, LiveArrived, StatusArrived, Waiting

    loop = asyncio.get_running_loop()
    last_s = loop.time()
    async for event in events:
        yield event
        if isinstance(event, CaughtUp):
            return
        if isinstance(event, LinkLost | Waiting) or not isinstance(event, LiveArrived | StatusArrived):
            last_s = loop.time()
        elif loop.time() - last_s >= _SILENCE_S:
            return


def _say(event: Event, fetched: Fetched) -> None:
    """Progress, on standard error."""
    from brakebeat.link import Connected, LinkLost, RepArrived, Waiting
    from brakebeat.link import words as link_words

    line = ""
    if isinstance(event, Connected):
        waiting = event.status.journal_next - event.status.journal_oldest
        line = f"connected to {event.name}; its journal holds {waiting} records"
    elif isinstance(event, LinkLost):
        line = f"link lost: {event.reason}"
    elif isinstance(event, Waiting):
        line = link_words.waiting_line(event.attempt, event.attempts, event.pause_s)
    elif isinstance(event, RepArrived) and len(fetched.reps) % 50 == 0:
        line = f"{len(fetched.reps)} reps so far"
    if line:
        print(line, file=sys.stderr, flush=True)


def _print(args: argparse.Namespace, fetched: Fetched, book: RepBook | None, new: int) -> None:
    from brakebeat.link.words import gone_line, rep_line

    for gone in fetched.gone:
        print(gone_line(gone.first, gone.last))
    if book is not None:
        print(f"{args.out}: {new} new reps from {fetched.board}, {len(book)} in all")
        return
    for event in fetched.reps:
        started = fetched.started(event)
        when = "time unknown       " if started is None else f"{started.astimezone():%Y-%m-%d %H:%M:%S}"
        print(f"{event.sequence:6d}  {when}  {rep_line(event.rep, event.cues)}")
    if not fetched.reps:
        print(f"nothing to fetch from {fetched.board}")


def _number(text: str) -> int:
    return read(int, text, lambda value: 0 <= value < 2**32 - 1, "a record's number is needed, from 0 up")
