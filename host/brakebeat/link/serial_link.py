"""A board on a USB cable: the same messages as by radio, over a serial port."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from typing import Any

import serial_asyncio_fast

from brakebeat.errors import DeviceError
from brakebeat.link.serial_lines import LineReader, pack_line
from brakebeat.link.serial_port import port_troubles
from brakebeat.link.transport import Channel

# USB does not care; a board with a serial bridge does.
BAUD = 115_200
# A board says how it is each second.
SILENCE_S = 5.0
_KEEP_ALIVE_S = 4.0
# As by radio with the preferred ATT MTU of 247.
_LARGEST_WRITE = 244


class SerialTransport:
    """A ``Transport`` over the serial port ``port`` (or a pyserial URL)."""

    def __init__(self, port: str, silence_s: float = SILENCE_S) -> None:
        self._port = port
        self._silence_s = silence_s
        self._lines = LineReader()
        self._status: bytes | None = None
        self._status_came = asyncio.Event()
        self._hear: Callable[[Channel, bytes], None] = lambda _channel, _message: None
        self._lost: Callable[[], None] = lambda: None
        self._writer: asyncio.StreamWriter | None = None
        self._listener: asyncio.Task[None] | None = None

    @property
    def label(self) -> str:
        """The port."""
        return self._port

    @property
    def address(self) -> str:
        """The port."""
        return self._port

    @property
    def keep_alive_s(self) -> float | None:
        """A board takes a host that is silent for 10 s for gone."""
        return _KEEP_ALIVE_S

    @property
    def largest_write(self) -> int:
        """Bytes of one write."""
        return _LARGEST_WRITE

    async def open(self, hear: Callable[[Channel, bytes], None], lost: Callable[[], None]) -> None:
        """Open the port and listen. Raises DeviceError in words."""
        self._hear, self._lost = hear, lost
        with port_troubles(self._port):
            reader, self._writer = await serial_asyncio_fast.open_serial_connection(
                url=self._port, baudrate=BAUD, **_exclusive(self._port)
            )
        self._listener = asyncio.create_task(self._listen(reader))
        # To a board this first line, empty as it is, is the connection.
        await self.write(b"")

    async def _listen(self, reader: asyncio.StreamReader) -> None:
        # The port failing, being pulled out or falling silent: the link is lost, whatever the reason.
        with contextlib.suppress(OSError, TimeoutError):
            while data := await asyncio.wait_for(reader.read(4096), self._silence_s):
                for channel, message in self._lines.feed(data):
                    self._take(channel, message)
        self._lost()

    def _take(self, channel: Channel, message: bytes) -> None:
        if channel is Channel.STATUS:
            self._status = message
            self._status_came.set()
        self._hear(channel, message)

    async def bond(self) -> None:
        """Not needed: who holds the cable may change things."""

    async def read_status(self) -> bytes:
        """The last status that the board has told. Raises DeviceError where none comes."""
        try:
            async with asyncio.timeout(self._silence_s):
                await self._status_came.wait()
        except TimeoutError as error:
            other = "; what comes is something else" if self._lines.skipped else ""
            raise DeviceError(
                f"{self._port}: no board answers on this port{other}; check the cable, that the board runs "
                "this version's firmware, and that no other program (a console, an editor) talks to it"
            ) from error
        assert self._status is not None
        return self._status

    async def write(self, commands: bytes) -> None:
        """Send commands. Raises DeviceError."""
        if self._writer is None or self._writer.is_closing():
            raise DeviceError(f"{self._port}: the link to the board was lost")
        with port_troubles(self._port):
            self._writer.write(pack_line(Channel.CONTROL, commands))
            await self._writer.drain()

    async def close(self) -> None:
        """Close the port."""
        if self._listener is not None:
            self._listener.cancel()
            await asyncio.gather(self._listener, return_exceptions=True)
        if self._writer is not None:
            self._writer.close()
            with contextlib.suppress(OSError):
                await self._writer.wait_closed()


def _exclusive(port: str) -> dict[str, Any]:
    """Ask for a port for oneself, where that means something: two programs would steal each other's bytes."""
    return {"exclusive": True} if "://" not in port and not port.upper().startswith("COM") else {}
