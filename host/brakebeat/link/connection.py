"""One connection to one board: from connecting to the moment the link ends."""

from __future__ import annotations

import asyncio
import contextlib
import enum
from collections.abc import AsyncGenerator, Callable
from types import TracebackType
from typing import Self

from brakebeat.board.files import load_wire
from brakebeat.board.messages import decode_rep
from brakebeat.errors import DeviceError
from brakebeat.link.events import Connected, CueHeard, Event, LiveArrived, RepArrived
from brakebeat.link.messages import (
    BoardStatus,
    acknowledge_command,
    decode_live,
    decode_status,
    listen_command,
    protocol_version,
)
from brakebeat.link.reassembly import Reassembler
from brakebeat.link.transport import Channel, Transport, WrongBoardError

_STATUS_TRIES = 3
_MOST_WAITING = 1000


class _Mark(enum.Enum):
    """What the queue of events holds beside events."""

    END = enum.auto()
    # Something is missing: the board still has everything that was not acknowledged.
    ASK_AGAIN = enum.auto()


class BoardConnection:
    """An async context manager: connected and listening inside; ``events`` runs until the link ends.

    known: tells whether a record has been seen before (over an earlier connection).
    """

    def __init__(self, transport: Transport, known: Callable[[bytes], bool]) -> None:
        self._transport = transport
        self._known = known
        self._wire = load_wire()
        self._parts = Reassembler()
        self._events: asyncio.Queue[Event | _Mark] = asyncio.Queue()
        self._cue_count: int | None = None

    @property
    def _label(self) -> str:
        return self._transport.label

    async def __aenter__(self) -> Self:
        await self._transport.open(self._hear, lambda: self._events.put_nowait(_Mark.END))
        try:
            status = await self.read_status()
            name = status.name or self._label
            self._events.put_nowait(Connected(name, self._transport.address, status))
            await self._command(listen_command())
        except BaseException:
            await self._transport.close()
            raise
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self._transport.close()

    async def read_status(self) -> BoardStatus:
        """The board's status.

        Raises:
            WrongBoardError: another protocol version. DeviceError: not readable in several tries.
        """
        for number in range(_STATUS_TRIES):
            # A long read may straddle an update; the next one will not.
            await asyncio.sleep(0.1 * number)
            value = await self._transport.read_status()
            version = protocol_version(value)
            if version is not None and version != self._wire.PROTOCOL_VERSION:
                raise WrongBoardError(self._wrong_version(version))
            status = decode_status(value)
            if status is not None:
                return status
        raise DeviceError(f"{self._label}: its status is damaged each time it is read; restart the board")

    def _wrong_version(self, version: int) -> str:
        ours = self._wire.PROTOCOL_VERSION
        what = (
            "update brakebeat on this computer" if version > ours else "install this version's firmware on it"
        )
        return f"{self._label} speaks protocol version {version}, this computer {ours}; {what}"

    # -- what comes in ---------------------------------------------------------------------------------------

    def _hear(self, channel: Channel, message: bytes) -> None:
        if channel is Channel.REP:
            self._on_rep_part(message)
        elif channel is Channel.LIVE:
            self._on_live(message)

    def _on_rep_part(self, part: bytes) -> None:
        lost = self._parts.lost + self._parts.damaged
        message = self._parts.feed(part)
        if message is not None and len(message) >= self._wire.REP_SIZE:
            try:
                rep, cues = decode_rep(message)
            except ValueError:
                self._parts.damaged += 1
            else:
                self._events.put_nowait(RepArrived(rep, cues, message))
        if self._parts.lost + self._parts.damaged != lost:
            self._events.put_nowait(_Mark.ASK_AGAIN)

    def _on_live(self, message: bytes) -> None:
        live = decode_live(message)
        if live is None:
            return
        if self._cue_count is not None and live.cue_count != self._cue_count and live.cue_kind is not None:
            self._events.put_nowait(CueHeard(live.cue_kind, live.cue_rep, live.cue_s))
        self._cue_count = live.cue_count
        # A consumer that sleeps must not fill the memory with what was live long ago.
        if self._events.qsize() < _MOST_WAITING:
            self._events.put_nowait(LiveArrived(live))

    async def events(self) -> AsyncGenerator[Event, None]:
        """What the board says, until the link ends. A rep is acknowledged once its taker is done with it."""
        while (event := await self._events.get()) is not _Mark.END:
            if event is _Mark.ASK_AGAIN:
                await self._command(listen_command())
            elif not isinstance(event, RepArrived):
                yield event
            else:
                try:
                    if not self._known(event.record):
                        yield event
                finally:
                    await self._command(acknowledge_command(event.rep.index))

    async def _command(self, command: bytes) -> None:
        # Where the link breaks right now, its end is the next event and the board keeps what it has.
        with contextlib.suppress(DeviceError):
            await self._transport.write(command)
