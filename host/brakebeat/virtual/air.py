"""The air: a central for the host, a peripheral for each firmware that comes in over the loopback."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import AsyncIterator
from dataclasses import dataclass

from bumble.device import Device
from bumble.hci import Address
from bumble.host import Host
from bumble.link import LocalLink
from bumble.pairing import PairingConfig, PairingDelegate
from bumble.transport.common import AsyncPipeSink

from brakebeat.virtual.controller import RadioController
from brakebeat.virtual.peripheral import Peripheral

_CENTRAL_ADDRESS = "F0:0D:00:00:00:01"


@dataclass(frozen=True)
class RadioLimits:
    """How good the radio is.

    mtu: largest ATT MTU that the host asks for (23 asks for none). queue: notifications that the board's
    stack takes before it says "no memory". event_interval_s, packets_per_event: pace of the link, 0 is none.
    """

    mtu: int = 247
    queue: int = 12
    event_interval_s: float = 0.0
    packets_per_event: int = 4


class VirtualAir:
    """Everything in radio range. Make it with ``virtual_air``."""

    def __init__(self, limits: RadioLimits) -> None:
        self.limits = limits
        self.link = LocalLink()
        self.boards: dict[str, Peripheral] = {}
        self.central: Device
        self.central_controller: RadioController
        self.port = 0
        self._tasks: set[asyncio.Task[None]] = set()

    def make_device(self, name: str, address: str) -> tuple[Device, RadioController]:
        """A new controller on this air and a device on top, not powered yet."""
        # The controller's public address is never used: with it bumble's GATT times out.
        controller = RadioController(name, link=self.link, public_address=f"00:{address[3:]}")
        host = Host(controller, AsyncPipeSink(controller))
        return Device(name=name, address=Address(address), host=host), controller

    async def start_central(self) -> None:
        """Power the host's side."""
        self.central, self.central_controller = self.make_device("host", _CENTRAL_ADDRESS)
        delegate = PairingDelegate(PairingDelegate.IoCapability.NO_OUTPUT_NO_INPUT)
        self.central.pairing_config_factory = lambda _connection: PairingConfig(
            sc=True,
            mitm=False,
            bonding=True,
            delegate=delegate,
            identity_address_type=PairingConfig.AddressType.RANDOM,
        )
        await self.central.power_on()

    def on_firmware(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """A firmware has switched its radio on."""
        task = asyncio.create_task(self._host_firmware(reader, writer))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _host_firmware(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        peripheral = Peripheral(self, reader, writer)
        try:
            await peripheral.run()
        finally:
            writer.close()

    def lose_links(self) -> int:
        """Break every connection, as when someone walks off with the phone. Returns how many there were."""
        broken = 0
        for controller in list(self.link.controllers):
            if isinstance(controller, RadioController):
                for connection in list(controller.le_connections.values()):
                    controller.lose(connection)
                    broken += 1
        return broken // 2

    async def close(self) -> None:
        """Switch everything off."""
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        self.lose_links()
        await self.central.power_off()


@contextlib.asynccontextmanager
async def virtual_air(limits: RadioLimits | None = None) -> AsyncIterator[VirtualAir]:
    """A radio range with the host's central in it and a TCP server for firmwares on 127.0.0.1."""
    air = VirtualAir(limits or RadioLimits())
    # bumble warns of packets that a link still carried when it broke: here that is what is wanted.
    logging.getLogger("bumble").setLevel(logging.CRITICAL)
    await air.start_central()
    server = await asyncio.start_server(air.on_firmware, "127.0.0.1", 0)
    air.port = server.sockets[0].getsockname()[1]
    try:
        yield air
    finally:
        server.close()
        await air.close()
