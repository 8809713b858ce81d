"""A board's bonds: bumble asks for them, the firmware keeps them."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from bumble.keys import KeyStore, PairingKeys

if TYPE_CHECKING:
    from brakebeat.virtual.peripheral import Peripheral

# What a board's stack stores of each peer: a long term key that is its own or the peer's (`bluetooth`'s
# documentation leaves the numbers to the stack).
SECRET_KIND = 2


class BoardKeys(KeyStore):  # type: ignore[misc]
    """Hands secrets to the firmware and asks for them; keeps nothing itself."""

    def __init__(self, peripheral: Peripheral) -> None:
        self._peripheral = peripheral

    async def update(self, name: str, keys: PairingKeys) -> None:
        """A pairing is complete; it is worth keeping only where both sides wanted a bond."""
        if self._peripheral.bonding:
            await self._peripheral.ask("s", SECRET_KIND, name, json.dumps(keys.to_dict()).encode())

    async def get(self, name: str) -> PairingKeys | None:
        """The keys of a peer that was bonded before."""
        value = await self._peripheral.ask("g", SECRET_KIND, name, b"")
        return PairingKeys.from_dict(json.loads(value)) if value else None

    async def delete(self, name: str) -> None:
        """Forget a peer."""
        await self._peripheral.ask("s", SECRET_KIND, name, b"")
