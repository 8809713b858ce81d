"""Follows a board: finds it, connects, hands on what it says, and comes back when the link breaks."""

from __future__ import annotations

import asyncio
import collections
import contextlib
from collections.abc import AsyncGenerator

from brakebeat.errors import DeviceError
from brakebeat.link.connection import BoardConnection, WrongBoardError
from brakebeat.link.events import Event, LinkLost, RepArrived, Waiting
from brakebeat.link.finder import SCAN_S, Wanted, find_board

# Pauses before trying again, in seconds: short at first, as most breaks are, then sparing the battery.
PAUSES_S = (0.5, 1.0, 2.0, 4.0, 8.0)
# More than a board keeps, so that whatever it sends again is known.
_REMEMBERED = 256


async def follow(
    wanted: Wanted,
    *,
    scan_s: float = SCAN_S,
    pauses_s: tuple[float, ...] = PAUSES_S,
) -> AsyncGenerator[Event, None]:
    """Everything that ``wanted`` says, link losses in between; each rep once. Ends only by an error.

    Close it (``contextlib.aclosing``) when you have seen enough.

    Raises:
        DeviceError: no Bluetooth, board not found, not a board of ours, or not back after the last pause.
    """
    recent: collections.deque[bytes] = collections.deque(maxlen=_REMEMBERED)
    device = await find_board(wanted, scan_s)
    # From now on it is this board that we stay with.
    wanted = Wanted(address=device.address)
    attempt = 0
    while True:
        try:
            if attempt:
                device = await find_board(wanted, scan_s)
            async with (
                BoardConnection(device, recent.__contains__) as connection,
                contextlib.aclosing(connection.events()) as events,
            ):
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
        if attempt == len(pauses_s):
            raise DeviceError(f"{reason}; gave up after {attempt} more tries")
        yield Waiting(attempt + 1, len(pauses_s), pauses_s[attempt])
        await asyncio.sleep(pauses_s[attempt])
        attempt += 1
