"""One connection to one board: from connecting to the moment the link ends."""

from __future__ import annotations

import asyncio
import contextlib
import enum
from collections.abc import AsyncGenerator, Callable
from types import TracebackType
from typing import Self

from bleak import BleakClient
from bleak.backends.device import BLEDevice
from bleak.exc import BleakError

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
from brakebeat.link.troubles import bluetooth_troubles

_STATUS_TRIES = 3
CONNECT_S = 15.0
_MOST_WAITING = 1000


class _Mark(enum.Enum):
    """What the queue of events holds beside events."""

    END = enum.auto()
    # Something is missing: the board still has everything that was not acknowledged.
    ASK_AGAIN = enum.auto()


class WrongBoardError(DeviceError):
    """What answered is no board of ours, or speaks another version: trying again is of no use."""


class BoardConnection:
    """An async context manager: connected and subscribed inside; ``events`` runs until the link ends.

    known: tells whether a record has been seen before (over an earlier connection).
    """

    def __init__(self, device: BLEDevice, known: Callable[[bytes], bool]) -> None:
        self._device = device
        self._known = known
        self._wire = load_wire()
        self._parts = Reassembler()
        self._events: asyncio.Queue[Event | _Mark] = asyncio.Queue()
        self._cue_count: int | None = None
        self._client = BleakClient(device, disconnected_callback=self._on_disconnected, timeout=CONNECT_S)

    @property
    def _label(self) -> str:
        return self._device.name or self._device.address

    async def __aenter__(self) -> Self:
        with bluetooth_troubles(f"connecting to {self._label}"):
            await self._client.connect()
        try:
            with bluetooth_troubles(f"talking to {self._label}"):
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
        # The link may be broken already; then there is nothing left to end.
        with contextlib.suppress(BleakError, OSError, EOFError, asyncio.TimeoutError):
            await self._client.disconnect()

    async def _begin(self) -> None:
        self._check_service()
        status = await self.read_status()
        self._events.put_nowait(Connected(status.name or self._label, self._device.address, status))
        await self._client.start_notify(self._wire.REP_UUID, self._on_rep_part)
        await self._client.start_notify(self._wire.LIVE_UUID, self._on_live)
        await self._command(listen_command())

    def _check_service(self) -> None:
        service = self._client.services.get_service(self._wire.SERVICE_UUID)
        names = {"rep": self._wire.REP_UUID, "live": self._wire.LIVE_UUID, "status": self._wire.STATUS_UUID}
        names["control"] = self._wire.CONTROL_UUID
        missing = [
            name for name, uuid in names.items() if not service or not service.get_characteristic(uuid)
        ]
        if service is None:
            raise WrongBoardError(f"{self._label} is no Brakebeat board: its service is missing")
        if missing:
            raise WrongBoardError(
                f"{self._label}: its firmware lacks {', '.join(missing)}; "
                "install this version's firmware on it"
            )

    async def read_status(self) -> BoardStatus:
        """The board's status.

        Raises:
            WrongBoardError: another protocol version. DeviceError: not readable in several tries.
        """
        for number in range(_STATUS_TRIES):
            # A long read may straddle an update; the next one will not.
            await asyncio.sleep(0.1 * number)
            value = await self._client.read_gatt_char(self._wire.STATUS_UUID)
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

    def _on_rep_part(self, _sender: object, part: bytearray) -> None:
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

    def _on_live(self, _sender: object, message: bytearray) -> None:
        live = decode_live(message)
        if live is None:
            return
        if self._cue_count is not None and live.cue_count != self._cue_count and live.cue_kind is not None:
            self._events.put_nowait(CueHeard(live.cue_kind, live.cue_rep, live.cue_s))
        self._cue_count = live.cue_count
        # A consumer that sleeps must not fill the memory with what was live long ago.
        if self._events.qsize() < _MOST_WAITING:
            self._events.put_nowait(LiveArrived(live))

    def _on_disconnected(self, _client: BleakClient) -> None:
        self._events.put_nowait(_Mark.END)

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
        with contextlib.suppress(BleakError, OSError, EOFError):
            await self._client.write_gatt_char(self._wire.CONTROL_UUID, command, response=True)
