"""Looks for boards in the air."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

from bleak import BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData

from brakebeat.board.files import load_wire
from brakebeat.errors import DeviceError
from brakebeat.link.troubles import bluetooth_troubles

SCAN_S = 10.0


@dataclass(frozen=True)
class Wanted:
    """The board to look for: any, one by its advertised name, or one by its address (in any case)."""

    name: str | None = None
    address: str | None = None

    def __str__(self) -> str:
        if self.address is not None:
            return f"a board at {self.address}"
        return "any board" if self.name is None else f"a board named {self.name!r}"

    def matches(self, address: str, name: str | None) -> bool:
        """Whether a board that was seen is meant."""
        if self.address is not None and address.lower() != self.address.lower():
            return False
        return self.name is None or (name or "").lower() == self.name.lower()


async def find_board(wanted: Wanted, timeout_s: float = SCAN_S) -> BLEDevice:
    """Scan until ``wanted`` is seen.

    Raises:
        DeviceError: no adapter, Bluetooth off, no permission, or not found within ``timeout_s`` seconds.
    """
    seen: dict[str, str] = {}
    found: asyncio.Future[BLEDevice] = asyncio.get_running_loop().create_future()

    def on_seen(device: BLEDevice, data: AdvertisementData) -> None:
        name = data.local_name or device.name
        seen[device.address] = name or device.address
        if wanted.matches(device.address, name) and not found.done():
            found.set_result(device)

    with bluetooth_troubles("looking for a board"):
        async with BleakScanner(on_seen, service_uuids=[load_wire().SERVICE_UUID]):
            await asyncio.wait({found}, timeout=timeout_s)
    if found.done():
        return found.result()
    raise DeviceError(_not_found(wanted, timeout_s, sorted(seen.values())))


def _not_found(wanted: Wanted, timeout_s: float, seen: list[str]) -> str:
    others = f"; in reach: {', '.join(seen)}" if seen else ""
    return (
        f"{wanted} was not found within {timeout_s:g} s{others}; check that the board has power, "
        "is near, and that no other phone or computer is connected to it"
    )
