"""Looks for boards in the air."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass

from bleak import BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData

from brakebeat.board.files import load_wire
from brakebeat.errors import DeviceError
from brakebeat.link.troubles import bluetooth_troubles
from brakebeat.wording import printable

SCAN_S = 10.0
# After so long a search lets others use the radio, then goes on.
_TURN_S = 2.0


@dataclass(frozen=True)
class Wanted:
    """The board to look for: any, one by its advertised name or its address (in any case), or one on a cable."""

    name: str | None = None
    address: str | None = None
    port: str | None = None

    def __str__(self) -> str:
        if self.port is not None:
            return f"the board on {self.port}"
        if self.address is not None:
            return f"a board at {self.address}"
        return "any board" if self.name is None else f"a board named {self.name!r}"

    def matches(self, address: str, name: str | None) -> bool:
        """Whether a board that was seen is meant."""
        if self.address is not None and address.lower() != self.address.lower():
            return False
        return self.name is None or (name or "").lower() == self.name.lower()


@dataclass(frozen=True)
class Seen:
    """A board that advertises. ``rssi_dbm``: how strong it is here."""

    device: BLEDevice
    name: str
    rssi_dbm: int

    @property
    def address(self) -> str:
        """Its address, as this system shows it."""
        return self.device.address


class Finder:
    """Searches for several boards share one radio: one scan or connection attempt at a time.

    Systems take it badly when one program scans twice at once, or scans while it connects.
    """

    def __init__(self) -> None:
        self._radio = asyncio.Lock()
        self._searches: list[tuple[Wanted, asyncio.Future[BLEDevice]]] = []

    @contextlib.asynccontextmanager
    async def quiet(self) -> AsyncIterator[None]:
        """No search goes on inside: the time to connect."""
        async with self._radio:
            yield

    async def find(self, wanted: Wanted, timeout_s: float = SCAN_S) -> BLEDevice:
        """Scan until ``wanted`` is seen.

        Raises:
            DeviceError: no adapter, Bluetooth off, no permission, or not found within ``timeout_s`` seconds.
        """
        loop = asyncio.get_running_loop()
        found: asyncio.Future[BLEDevice] = loop.create_future()
        search = (wanted, found)
        self._searches.append(search)
        others: dict[str, str] = {}
        deadline_s = loop.time() + timeout_s
        try:
            while not found.done() and (left_s := deadline_s - loop.time()) > 0:
                async with self._radio:
                    if not found.done():
                        await self._take_a_turn(min(left_s, _TURN_S), others)
        finally:
            self._searches.remove(search)
        if found.done():
            return found.result()
        raise DeviceError(_not_found(wanted, timeout_s, sorted(others.values())))

    async def _take_a_turn(self, turn_s: float, others: dict[str, str]) -> None:
        """Scan for everybody who searches, until one of them is served."""
        served = asyncio.Event()

        def on_seen(seen: Seen) -> None:
            others[seen.address] = seen.name
            for wanted, found in self._searches:
                if not found.done() and wanted.matches(seen.address, seen.name):
                    found.set_result(seen.device)
                    served.set()

        async with _scanning(on_seen):
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(served.wait(), turn_s)


async def scan(seconds: float) -> list[Seen]:
    """Every board that advertises within ``seconds``, the strongest first.

    Raises:
        DeviceError: no adapter, Bluetooth off, no permission.
    """
    boards: dict[str, Seen] = {}

    def on_seen(seen: Seen) -> None:
        known = boards.get(seen.address)
        # A name comes in the scan response, which not every report has.
        named = seen.name if known is None or seen.name != seen.address else known.name
        boards[seen.address] = Seen(seen.device, named, seen.rssi_dbm)

    async with _scanning(on_seen):
        await asyncio.sleep(seconds)
    return sorted(boards.values(), key=lambda seen: (-seen.rssi_dbm, seen.name))


@contextlib.asynccontextmanager
async def _scanning(on_seen: Callable[[Seen], None]) -> AsyncIterator[None]:
    def on_advertisement(device: BLEDevice, data: AdvertisementData) -> None:
        name = printable(data.local_name or device.name or device.address)
        on_seen(Seen(device, name, data.rssi))

    with bluetooth_troubles("looking for a board"):
        async with BleakScanner(on_advertisement, service_uuids=[load_wire().SERVICE_UUID]):
            yield


def _not_found(wanted: Wanted, timeout_s: float, seen: list[str]) -> str:
    others = f"; in reach: {', '.join(seen)}" if seen else ""
    return (
        f"{wanted} was not found within {timeout_s:g} s{others}; check that the board has power, "
        "is near, and that no other phone or computer is connected to it"
    )
