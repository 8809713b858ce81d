"""What a link to a board has to offer, whatever carries it: the small surface below which radio and wire differ."""

from __future__ import annotations

import enum
from collections.abc import Callable
from typing import Protocol

from brakebeat.errors import DeviceError


class Channel(enum.Enum):
    """What a board says without being asked, by kind of message."""

    REP = "rep"
    LIVE = "live"
    RAW = "raw"
    CONTROL = "control"
    STATUS = "status"


class WrongBoardError(DeviceError):
    """What answered is no board of ours, or speaks another version: trying again is of no use."""


class Transport(Protocol):
    """One link to one board, opened once. Errors are ``DeviceError``s in words for people."""

    @property
    def label(self) -> str:
        """What to call the board before it has told its name."""

    @property
    def address(self) -> str:
        """Where it is: a Bluetooth address or a serial port."""

    async def open(self, hear: Callable[[Channel, bytes], None], lost: Callable[[], None]) -> None:
        """Connect and listen on every channel. ``hear`` gets each message part, ``lost`` the end, once."""

    @property
    def keep_alive_s(self) -> float | None:
        """Say something at least this often, or the board takes the host for gone; None: no need to."""

    @property
    def largest_write(self) -> int:
        """Bytes that one ``write`` may hold."""

    async def bond(self) -> None:
        """Pair, where the link can; the board decides whether it takes a new bond now."""

    async def read_status(self) -> bytes:
        """The board's status, sealed, as it stands."""

    async def write(self, commands: bytes) -> None:
        """Send commands; back once the board's stack has them."""

    async def close(self) -> None:
        """Hang up; never raises, also where the link is broken already."""
