"""Follows a board: finds it, connects, hands on what it says, and comes back when the link breaks."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncGenerator, AsyncIterator

from brakebeat.errors import DeviceError
from brakebeat.link.ble import BleTransport
from brakebeat.link.connection import BoardConnection
from brakebeat.link.control import CommandError
from brakebeat.link.events import Event, LinkLost, Waiting
from brakebeat.link.finder import SCAN_S, Finder, Wanted
from brakebeat.link.ledger import Ledger
from brakebeat.link.serial_link import SerialTransport
from brakebeat.link.transport import Transport, WrongBoardError

# Pauses before trying again, in seconds: short at first, as most breaks are, then sparing the battery.
PAUSES_S = (0.5, 1.0, 2.0, 4.0, 8.0)


async def follow(
    wanted: Wanted,
    *,
    scan_s: float = SCAN_S,
    pauses_s: tuple[float, ...] = PAUSES_S,
    endless: bool = False,
    finder: Finder | None = None,
    ledger: Ledger | None = None,
    raw: bool = False,
) -> AsyncGenerator[Event, None]:
    """Everything that ``wanted`` says, link losses in between; each record once. Ends only by an error.

    Close it (``contextlib.aclosing``) when you have seen enough.

    Args:
        endless: once it has been found, try for ever, the last pause again and again.
        finder: share one between boards that are followed at once.
        ledger: where to begin and what is known already; default: with what no host has acknowledged yet.
        raw: ask for raw edges too, which needs a bond.

    Raises:
        DeviceError: no Bluetooth, board not found, not a board of ours, a refusal, or not back after the last
            pause.
    """
    finder = finder or Finder()
    ledger = ledger or Ledger()
    transport = await find(wanted, finder, scan_s)
    attempt, met = 0, False
    while True:
        try:
            if attempt:
                transport = await find(wanted, finder, scan_s)
            if wanted.port is None:
                # From now on it is this board that we stay with.
                wanted = Wanted(address=transport.address)
            async with connected(transport, finder, ledger, raw=raw, raw_before=met) as connection:
                attempt, met = 0, True
                async with contextlib.aclosing(connection.events()) as events:
                    async for event in events:
                        yield event
            reason = "the link to the board was lost"
        except (WrongBoardError, CommandError):
            raise
        except DeviceError as error:
            if wanted.port is not None and not met:
                # A port is there or not: no use in looking for it as for a board in the air.
                raise
            reason = str(error)
        yield LinkLost(reason)
        if attempt == len(pauses_s) and not endless:
            raise DeviceError(f"{reason}; gave up after {attempt} more tries")
        pause_s = pauses_s[min(attempt, len(pauses_s) - 1)]
        attempt += 1
        yield Waiting(attempt, None if endless else len(pauses_s), pause_s)
        await asyncio.sleep(pause_s)


async def find(wanted: Wanted, finder: Finder, scan_s: float = SCAN_S) -> Transport:
    """A way to the board that is meant, not opened yet. Raises DeviceError where it is not found."""
    if wanted.port is not None:
        return SerialTransport(wanted.port)
    return BleTransport(await finder.find(wanted, scan_s))


@contextlib.asynccontextmanager
async def connected(
    transport: Transport, finder: Finder, ledger: Ledger, *, raw: bool = False, raw_before: bool = False
) -> AsyncIterator[BoardConnection]:
    """A connection while this is open; nobody else uses the radio while it is being made."""
    connection = BoardConnection(transport, ledger, raw=raw, raw_before=raw_before)
    async with contextlib.AsyncExitStack() as stack:
        async with finder.quiet():
            await stack.enter_async_context(connection)
        yield connection
