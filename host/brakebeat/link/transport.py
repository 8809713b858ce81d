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
    EDGES = "edges"
    ANSWER = "answer"


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

    async def read_status(self) -> bytes:
        """The board's status, sealed, as it stands."""

    async def write(self, commands: bytes) -> None:
        """Send commands; back once the board's stack has them."""

    async def close(self) -> None:
        """Hang up; never raises, also where the link is broken already."""
