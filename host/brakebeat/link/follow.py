"""Follows a board: finds it, connects, hands on what it says, and comes back when the link breaks."""

from __future__ import annotations

import asyncio
import collections
import contextlib
from collections.abc import AsyncGenerator, AsyncIterator, Callable

from brakebeat.errors import DeviceError
from brakebeat.link.ble import BleTransport
from brakebeat.link.connection import BoardConnection
from brakebeat.link.events import Event, LinkLost, RepArrived, Waiting
from brakebeat.link.finder import SCAN_S, Finder, Wanted
from brakebeat.link.transport import WrongBoardError

# Pauses before trying again, in seconds: short at first, as most breaks are, then sparing the battery.
PAUSES_S = (0.5, 1.0, 2.0, 4.0, 8.0)
# More than a board keeps, so that whatever it sends again is known.
_REMEMBERED = 256


async def follow(
    wanted: Wanted,
    *,
    scan_s: float = SCAN_S,
    pauses_s: tuple[float, ...] = PAUSES_S,
    endless: bool = False,
    finder: Finder | None = None,
) -> AsyncGenerator[Event, None]:
    """Everything that ``wanted`` says, link losses in between; each rep once. Ends only by an error.

    Close it (``contextlib.aclosing``) when you have seen enough. ``endless``: once it has been connected, try
    for ever, the last pause again and again. ``finder``: share one between boards that are followed at once.

    Raises:
        DeviceError: no Bluetooth, board not found, not a board of ours, or not back after the last pause.
    """
    finder = finder or Finder()
    recent: collections.deque[bytes] = collections.deque(maxlen=_REMEMBERED)
    transport = await _find(wanted, finder, scan_s)
    attempt = 0
    while True:
        try:
            if attempt:
                transport = await _find(wanted, finder, scan_s)
            # From now on it is this board that we stay with.
            wanted = Wanted(address=transport.address)
            async with _connected(transport, finder, recent.__contains__) as events:
                attempt = 0
                async for event in events:
                    yield event
                    if isinstance(event, RepArrived):
                        recent.append(event.record)
            reason = "the link to the board was lost"
        except WrongBoardError:
            raise
        except DeviceError as error:
            reason = str(error)
        yield LinkLost(reason)
        if attempt == len(pauses_s) and not endless:
            raise DeviceError(f"{reason}; gave up after {attempt} more tries")
        pause_s = pauses_s[min(attempt, len(pauses_s) - 1)]
        attempt += 1
        yield Waiting(attempt, None if endless else len(pauses_s), pause_s)
        await asyncio.sleep(pause_s)


async def _find(wanted: Wanted, finder: Finder, scan_s: float) -> BleTransport:
    return BleTransport(await finder.find(wanted, scan_s))


@contextlib.asynccontextmanager
async def _connected(
    transport: BleTransport, finder: Finder, known: Callable[[bytes], bool]
) -> AsyncIterator[AsyncGenerator[Event, None]]:
    """Connect: the board's events while it lasts."""
    connection = BoardConnection(transport, known)
    async with contextlib.AsyncExitStack() as stack:
        async with finder.quiet():
            await stack.enter_async_context(connection)
        yield await stack.enter_async_context(contextlib.aclosing(connection.events()))
