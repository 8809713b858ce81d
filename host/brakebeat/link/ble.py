"""A board over Bluetooth LE: plain bleak."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.device import BLEDevice
from bleak.exc import BleakError

from brakebeat.board.files import load_wire
from brakebeat.errors import DeviceError
from brakebeat.link.transport import Channel, WrongBoardError
from brakebeat.link.troubles import bluetooth_troubles

CONNECT_S = 15.0
# At the default ATT MTU of 23.
_SMALLEST_WRITE = 20


class BleTransport:
    """A ``Transport`` over a Bluetooth LE connection to ``device``."""

    def __init__(self, device: BLEDevice) -> None:
        self._device = device
        self._wire = load_wire()
        self._lost: Callable[[], None] = lambda: None
        self._client = BleakClient(
            device, disconnected_callback=lambda _client: self._lost(), timeout=CONNECT_S
        )

    @property
    def label(self) -> str:
        """The advertised name, or the address."""
        return self._device.name or self._device.address

    @property
    def address(self) -> str:
        """The board's address, as this system shows it."""
        return self._device.address

    @property
    def keep_alive_s(self) -> float | None:
        """The link itself tells when it breaks."""
        return None

    @property
    def largest_write(self) -> int:
        """What fits the ATT MTU."""
        control = self._client.services.get_characteristic(self._wire.CONTROL_UUID)
        return control.max_write_without_response_size if control else _SMALLEST_WRITE

    async def open(self, hear: Callable[[Channel, bytes], None], lost: Callable[[], None]) -> None:
        """Connect and subscribe. Raises DeviceError; WrongBoardError where trying again is of no use."""
        self._lost = lost
        with bluetooth_troubles(f"connecting to {self.label}"):
            await self._client.connect()
        try:
            with bluetooth_troubles(f"talking to {self.label}"):
                await self._subscribe(hear)
        except BaseException:
            await self.close()
            raise

    async def _subscribe(self, hear: Callable[[Channel, bytes], None]) -> None:
        uuids = {channel: getattr(self._wire, f"{channel.name}_UUID") for channel in Channel}
        self._check_service(uuids)
        for channel, uuid in uuids.items():

            def on_value(
                _from: BleakGATTCharacteristic, value: bytearray, channel: Channel = channel
            ) -> None:
                hear(channel, bytes(value))

            await self._client.start_notify(uuid, on_value)

    def _check_service(self, uuids: dict[Channel, str]) -> None:
        service = self._client.services.get_service(self._wire.SERVICE_UUID)
        if service is None:
            raise WrongBoardError(f"{self.label} is no Brakebeat board: its service is missing")
        missing = [channel.value for channel, uuid in uuids.items() if not service.get_characteristic(uuid)]
        if missing:
            raise WrongBoardError(
                f"{self.label}: its firmware lacks {', '.join(missing)}; install this version's firmware on it"
            )

    async def bond(self) -> None:
        """Pair and bond. Raises DeviceError where this system or the board refuses."""
        with bluetooth_troubles(f"pairing with {self.label}"):
            try:
                await self._client.pair()
            except NotImplementedError as error:
                # macOS pairs by itself when a link needs it.
                raise DeviceError(f"{self.label}: this system offers no pairing to programs") from error

    async def read_status(self) -> bytes:
        """The status characteristic. Raises DeviceError."""
        with bluetooth_troubles(f"reading the status of {self.label}"):
            return bytes(await self._client.read_gatt_char(self._wire.STATUS_UUID))

    async def write(self, commands: bytes) -> None:
        """Write to the control characteristic and wait for the stack's answer. Raises DeviceError."""
        with bluetooth_troubles(f"talking to {self.label}"):
            await self._client.write_gatt_char(self._wire.CONTROL_UUID, commands, response=True)

    async def close(self) -> None:
        """Disconnect."""
        # The link may be broken already; then there is nothing left to end.
        with contextlib.suppress(BleakError, OSError, EOFError, asyncio.TimeoutError):
            await self._client.disconnect()
