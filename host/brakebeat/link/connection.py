"""One connection to one board: from connecting to the moment the link ends."""

from __future__ import annotations

import asyncio
import contextlib
import struct
import time
from collections.abc import AsyncGenerator
from types import TracebackType
from typing import Self

from brakebeat.board.files import load_wire
from brakebeat.errors import DeviceError
from brakebeat.link.arrivals import Arrivals, Mark
from brakebeat.link.commands import (
    Journal,
    unpack_clock,
    unpack_journal,
    unpack_raw_start,
)
from brakebeat.link.control import CommandError, Control
from brakebeat.link.events import (
    CaughtUp,
    Connected,
    Event,
    RecordsGone,
    RepArrived,
    StatusArrived,
    TimeTold,
)
from brakebeat.link.ledger import Ledger
from brakebeat.link.messages import BoardStatus, decode_status, protocol_version
from brakebeat.link.raw import RawDecoder
from brakebeat.link.records import Record, RepRecord, TimeRecord
from brakebeat.link.transport import Channel, Transport, WrongBoardError

_STATUS_TRIES = 3
# A board hears of the new bond a little after this side does.
_BOND_PAUSES_S = (0.0, 0.2, 0.5, 1.0)


class BoardConnection:
    """An async context manager: connected and listening inside; ``events`` runs until the link ends.

    ledger: what has been taken over earlier connections. raw: ask for raw edges too; raw_before: so had an
    earlier connection.
    """

    def __init__(
        self, transport: Transport, ledger: Ledger, *, raw: bool = False, raw_before: bool = False
    ) -> None:
        self.control = Control(transport)
        self._transport = transport
        self._ledger = ledger
        self._raw_wanted = raw
        self._raw_before = raw_before
        self._wire = load_wire()
        self._arrivals = Arrivals()
        self._journal = Journal(0, 0, 0)
        self._first = 0
        self._caught_up = False
        self._keeper: asyncio.Task[None] | None = None

    @property
    def _label(self) -> str:
        return self._transport.label

    async def __aenter__(self) -> Self:
        await self._transport.open(self._hear, self._on_lost)
        try:
            await self._begin()
        except BaseException:
            await self._hang_up()
            raise
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self._hang_up()

    async def _hang_up(self) -> None:
        if self._keeper is not None:
            self._keeper.cancel()
        await self._transport.close()

    async def _begin(self) -> None:
        status = await self.read_status()
        wall_us = time.time_ns() // 1000
        clock = unpack_clock(await self.control.ask(self._wire.COMMAND_TIME, struct.pack("<Q", wall_us)))
        if clock is None:
            raise DeviceError(self._too_short("TIME"))
        board_us, boot = clock
        # Before anything that lets a played recording begin: not an edge shall be missed.
        raw_from_us = await self._start_raw() if self._raw_wanted else None
        self._journal = await self._hello()
        name, address = status.name or self._label, self._transport.address
        self._arrivals.queue.put_nowait(
            Connected(name, address, status, self._journal.id, boot, board_us, wall_us)
        )
        if raw_from_us is not None:
            self._arrivals.read_raw_with(RawDecoder(raw_from_us, boot, self._raw_before))
        await self._ask_for_records(status)
        if self._transport.keep_alive_s is not None:
            self._keeper = asyncio.create_task(self._keep_alive(self._transport.keep_alive_s))

    def _too_short(self, name: str) -> str:
        return f"{self._label}: its answer to {name} is too short; install this version's firmware"

    async def _hello(self) -> Journal:
        ours = self._wire.PROTOCOL_VERSION
        try:
            answer = unpack_journal(await self.control.ask(self._wire.COMMAND_HELLO, bytes([ours, ours])))
        except CommandError as error:
            if error.error == self._wire.ERROR_VERSION and error.payload:
                raise WrongBoardError(self._wrong_version(error.payload[0])) from error
            raise
        if answer is None:
            raise DeviceError(self._too_short("HELLO"))
        return answer[1]

    async def _ask_for_records(self, status: BoardStatus) -> None:
        """Have delivery begin where the ledger stands; what the journal has lost before that is told."""
        first = self._ledger.open(self._journal.id)
        if first is None:
            first = max(self._journal.oldest, status.journal_next - status.reps_waiting)
        elif 0 < first < self._journal.oldest:
            self._arrivals.queue.put_nowait(RecordsGone(first, self._journal.oldest - 1))
        self._first = first
        await self._from(first)
        if first >= self._journal.next:
            self._catch_up()

    async def _from(self, first: int) -> None:
        self._arrivals.expect(max(first, self._journal.oldest))
        try:
            await self.control.ask(self._wire.COMMAND_FROM, struct.pack("<I", first), self._arrivals.asked)
        except CommandError as error:
            if error.error != self._wire.ERROR_VALUE:
                raise
            words = (
                f"{self._label}: its journal does not reach to record {first}; the next one will be "
                f"{self._journal.next}"
            )
            raise CommandError(words, error.error) from error

    async def _start_raw(self) -> int:
        """Ask for raw edges: the board's clock at that moment."""
        board_us = unpack_raw_start(await self.trusted(self._wire.COMMAND_RAW_START))
        if board_us is None:
            raise DeviceError(self._too_short("RAW_START"))
        return board_us

    async def trusted(self, code: int, payload: bytes = b"") -> bytes:
        """Ask for something that needs a bond; make one where there is none.

        Raises:
            CommandError: refused all the same. DeviceError: pairing failed.
        """
        try:
            return await self.control.ask(code, payload)
        except CommandError as error:
            if error.error != self._wire.ERROR_REFUSED:
                raise
            refused = error
        try:
            await self._transport.bond()
        except DeviceError as trouble:
            raise CommandError(f"{refused} ({trouble})", refused.error) from trouble
        for pause_s in _BOND_PAUSES_S:
            await asyncio.sleep(pause_s)
            try:
                return await self.control.ask(code, payload)
            except CommandError as error:
                if error.error != self._wire.ERROR_REFUSED:
                    raise
                refused = error
        raise refused

    @property
    def largest_payload(self) -> int:
        """Bytes of payload that one command may have."""
        head = struct.calcsize(self._wire.COMMAND_HEAD_FORMAT)
        return self._transport.largest_write - head - self._wire.SEAL_SIZE

    async def _keep_alive(self, every_s: float) -> None:
        ours = self._wire.PROTOCOL_VERSION
        while True:
            await asyncio.sleep(every_s)
            with contextlib.suppress(DeviceError):
                await self.control.tell(self._wire.COMMAND_HELLO, bytes([ours, ours]))

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

    def _on_lost(self) -> None:
        self.control.lost()
        self._arrivals.queue.put_nowait(Mark.END)

    def _hear(self, channel: Channel, message: bytes) -> None:
        if channel is Channel.CONTROL:
            self.control.hear(message)
        else:
            self._arrivals.hear(channel, message)

    async def events(self) -> AsyncGenerator[Event, None]:
        """What the board says, until the link ends. A record is acknowledged once its taker is done with it."""
        while (item := await self._arrivals.queue.get()) is not Mark.END:
            if item is Mark.ASK_AGAIN:
                try:
                    await self._from(self._ledger.open(self._journal.id) or self._first)
                except DeviceError:
                    # Without it no record would come any more: better a new link.
                    return
            elif item is Mark.READ_STATUS:
                with contextlib.suppress(DeviceError):
                    status = await self.read_status()
                    yield StatusArrived(status)
                    if status.journal_id != self._journal.id:
                        # It has begun another one: numbers and clock are learnt anew over a new link.
                        return
            elif isinstance(item, Record):
                event = self._event(item) if self._ledger.new(item.sequence) else None
                try:
                    if event is not None:
                        yield event
                finally:
                    await self._settle(item)
            else:
                yield item

    async def _settle(self, record: Record) -> None:
        self._ledger.take(record.sequence)
        if record.sequence >= self._journal.next - 1:
            self._catch_up()
        # Where the link breaks right now, its end is the next event and the board keeps what it has.
        with contextlib.suppress(DeviceError):
            await self.control.tell(self._wire.COMMAND_ACKNOWLEDGE, struct.pack("<I", record.sequence))

    def _event(self, record: Record) -> Event | None:
        if isinstance(record, RepRecord):
            return RepArrived(
                record.rep, record.cues, record.packed, self._journal.id, record.sequence, record.boot
            )
        if isinstance(record, TimeRecord):
            return TimeTold(self._journal.id, record.boot, record.board_us, record.wall_us)
        return None

    def _catch_up(self) -> None:
        if not self._caught_up:
            self._caught_up = True
            self._arrivals.queue.put_nowait(CaughtUp())
