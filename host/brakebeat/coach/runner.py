"""Feeds a session from the link: model, store, screens, in this order."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Sequence
from typing import Protocol

from brakebeat.cli.board_options import VirtualBoards
from brakebeat.coach.keeper import Keeper
from brakebeat.coach.session import CoachSession, Placed
from brakebeat.link import Event, RepArrived, Wanted, follow


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
    async with contextlib.aclosing(follow(wanted, scan_s=scan_s, endless=True)) as events:
        async for event in events:
            placed = session.take(event, time.time())
            keeper.keep(event, placed)
            for screen in screens:
                screen.show(event, placed)
            reps += isinstance(event, RepArrived)
            if over(reps):
                return


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
