"""Puts a rig file onto a board: in parts, under a checksum, in force only once it is whole and right."""

from __future__ import annotations

import asyncio
import struct
import zlib
from collections.abc import Callable

from brakebeat.board.files import load_wire
from brakebeat.errors import InputError
from brakebeat.link.commands import unpack_magnets
from brakebeat.link.connection import BoardConnection
from brakebeat.link.control import CommandError
from brakebeat.wording import counted

# More than a rig file with all its comments needs; boards take no more.
LARGEST_RIG = 4096
_LARGEST_PART = 128
# Before that many reps have taught, noise of single edges is still in the magnet table.
LEARNT_REPS = 5
# The wheel has to stand still for 2 s before a board changes anything.
_REST_TRIES = 10
_REST_PAUSE_S = 1.0


async def send_rig(
    connection: BoardConnection,
    text: bytes,
    progress: Callable[[int], None] = lambda _sent: None,
    waiting: Callable[[], None] = lambda: None,
) -> None:
    """Send a rig file and have it taken into force; ``progress`` hears how many bytes are there.

    ``waiting`` is called once where the wheel still turns.

    Raises:
        InputError: too long. CommandError: the board refuses it; the old file stays in force. DeviceError: link.
    """
    if len(text) > LARGEST_RIG:
        raise InputError(
            f"the rig file has {len(text)} bytes, a board takes {LARGEST_RIG}; shorten its comments"
        )
    wire = load_wire()
    await connection.trusted(wire.COMMAND_RIG_BEGIN, struct.pack("<HI", len(text), zlib.crc32(text)))
    room = min(_LARGEST_PART, connection.largest_payload - 2)
    for offset in range(0, len(text), room):
        part = text[offset : offset + room]
        await connection.control.ask(wire.COMMAND_RIG_PART, struct.pack("<H", offset) + part)
        progress(offset + len(part))
    await _commit(connection, waiting)


async def learnt_magnets(connection: BoardConnection) -> list[float]:
    """The magnets' offsets from even spacing as the board has learnt them from reps, rad, in its own order.

    Raises:
        InputError: it has learnt from too few reps, or its sensor has no magnets to tell apart.
    """
    wire = load_wire()
    offsets: list[float] = []
    while True:
        answer = unpack_magnets(await connection.control.ask(wire.COMMAND_MAGNETS, bytes([len(offsets)])))
        if answer is None:
            raise InputError("the board's answer about its magnets is too short; try again")
        magnets, reps, some = answer
        if magnets < 2:
            raise InputError("this board tells no magnets apart (one magnet, an encoder or a toothed wheel)")
        if reps < LEARNT_REPS:
            raise InputError(
                f"the board has learnt its magnets from {counted(reps, 'rep')} so far; pull {LEARNT_REPS} in a row, "
                "then ask again"
            )
        offsets += some
        if not some or len(offsets) >= magnets:
            mean = sum(offsets) / len(offsets)
            return [round(offset - mean, 6) for offset in offsets]


async def _commit(connection: BoardConnection, waiting: Callable[[], None]) -> None:
    wire = load_wire()
    for number in range(_REST_TRIES):
        try:
            await connection.control.ask(wire.COMMAND_RIG_COMMIT)
            return
        except CommandError as error:
            if error.error == wire.ERROR_RIG:
                trouble = (await connection.read_status()).trouble
                raise CommandError(f"{error}: {trouble}" if trouble else str(error), error.error) from error
            if error.error != wire.ERROR_BUSY or number == _REST_TRIES - 1:
                raise
            if not number:
                waiting()
        await asyncio.sleep(_REST_PAUSE_S)
