"""Feeds a session from the link: model, store, screens, in this order."""

from __future__ import annotations

import contextlib
import time
from collections.abc import AsyncGenerator, Callable, Sequence
from typing import TYPE_CHECKING, Protocol

from brakebeat.board.files import load_wire
from brakebeat.coach.keeper import Keeper
from brakebeat.coach.session import CoachSession, Placed
from brakebeat.link import EdgesArrived, Event, Finder, Ledger, RepArrived, Wanted, follow
from brakebeat.link.control import CommandError

if TYPE_CHECKING:
    from brakebeat.virtual.boards import VirtualBoards


class CoachScreen(Protocol):
    """Shows a session after an event, which it has taken already."""

    def show(self, event: Event, placed: Placed | None) -> None: ...


async def run_session(
    session: CoachSession,
    keeper: Keeper,
    screens: Sequence[CoachScreen],
    wanted: Wanted,
    *,
    scan_s: float,
    over: Callable[[int], bool],
) -> None:
    """Follow the board until ``over(reps so far)``.

    The link acknowledges a rep when the next event is asked for: by then it is in the store.

    Raises:
        DeviceError: the board was not found or refused. StoreError: a rep could not be kept; the board keeps it.
    """
    reps = 0
    try:
        async with contextlib.aclosing(_followed(session, wanted, scan_s)) as events:
            async for event in events:
                placed = session.take(event, time.time())
                keeper.keep(event, placed)
                for screen in screens:
                    screen.show(event, placed)
                reps += isinstance(event, RepArrived)
                if over(reps):
                    return
    finally:
        keeper.close()


async def _followed(session: CoachSession, wanted: Wanted, scan_s: float) -> AsyncGenerator[Event, None]:
    """What the board says, with its raw edges where it gives them to us; without them where it refuses."""
    ledger, finder = Ledger(), Finder()
    try:
        async for event in follow(
            wanted, scan_s=scan_s, endless=True, raw=True, ledger=ledger, finder=finder
        ):
            session.edges_kept = session.edges_kept or isinstance(event, EdgesArrived)
            yield event
    except CommandError as error:
        if error.error != load_wire().ERROR_REFUSED:
            raise
        session.no_edges = str(error)
    async for event in follow(wanted, scan_s=scan_s, endless=True, ledger=ledger, finder=finder):
        yield event


def the_board(wanted: Sequence[Wanted], virtual: VirtualBoards | None) -> Wanted:
    """The one board that is meant: the named one, the virtual one, or the first found."""
    if wanted:
        return wanted[0]
    return Wanted() if virtual is None else Wanted(address=virtual.boards[0].address)


def until(reps_wanted: int | None, virtual: VirtualBoards | None) -> Callable[[int], bool]:
    """When to stop: after so many reps, or when a virtual board's recording is played; else never."""

    def over(reps: int) -> bool:
        if reps_wanted is not None and reps >= reps_wanted:
            return True
        return virtual is not None and virtual.over(reps)

    return over
