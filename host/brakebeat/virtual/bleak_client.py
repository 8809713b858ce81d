"""What bleak connects with in place of an operating system's Bluetooth: a bumble device on the virtual air."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from typing import Any, TypeVar

from bleak.args import SizedBuffer
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient, NotifyCallback
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.backends.device import BLEDevice
from bleak.backends.service import BleakGATTService, BleakGATTServiceCollection
from bleak.exc import BleakDeviceNotFoundError, BleakError, BleakGATTProtocolError
from bumble import core
from bumble.att import ATT_DEFAULT_MTU, ATT_Error
from bumble.device import Connection, Peer
from bumble.gatt_client import CharacteristicProxy
from bumble.hci import Address, HCI_Error
from bumble.keys import KeyStore

from brakebeat.virtual.air import VirtualAir
from brakebeat.virtual.bleak_scanner import uuid_text

Result = TypeVar("Result")


class BumbleClient(BaseBleakClient):
    """A GATT client on the air's central."""

    def __init__(
        self,
        address_or_ble_device: BLEDevice | str,
        services: set[str] | None = None,
        *,
        disconnected_callback: Callable[[], None] | None,
        timeout: float,
        air: VirtualAir,
        **_options: Any,
    ) -> None:
        super().__init__(address_or_ble_device, disconnected_callback=disconnected_callback, timeout=timeout)
        self._air = air
        self._name = address_or_ble_device.name if isinstance(address_or_ble_device, BLEDevice) else None
        self._wanted = services
        self._connection: Connection | None = None
        self._callbacks: dict[int, Callable[[bytes], None]] = {}

    @property
    def name(self) -> str:
        """The device's name, or its address."""
        return self._name or self.address

    @property
    def mtu_size(self) -> int:
        """The ATT MTU of the connection."""
        return ATT_DEFAULT_MTU if self._connection is None else self._connection.att_mtu

    @property
    def is_connected(self) -> bool:
        """Whether the link is up."""
        return self._connection is not None

    # -- connection ------------------------------------------------------------------------------------------

    async def connect(self, pair: bool, **kwargs: Any) -> None:
        """Connect, negotiate the MTU and look at the services."""
        if self._connection is not None:
            raise BleakError("Client is already connected")
        timeout = kwargs.get("timeout", self._timeout)
        try:
            connection = await self._air.central.connect(Address(self.address), timeout=timeout)
        except (core.TimeoutError, core.ConnectionError) as error:
            raise BleakDeviceNotFoundError(
                self.address, f"Device with address {self.address} was not found."
            ) from error
        except asyncio.CancelledError:
            self._air.central_controller.give_up_connecting()
            raise
        self._connection = connection
        connection.on(Connection.EVENT_DISCONNECTION, self._on_disconnection)
        try:
            peer = Peer(connection)
            if self._air.limits.mtu > ATT_DEFAULT_MTU:
                await self._ask(peer.request_mtu(self._air.limits.mtu))
            self.services = await self._ask(self._discover(peer))
            # As operating systems do with a device that they are bonded to.
            if pair or await self._keys.get(str(connection.peer_address)) is not None:
                await self.pair()
        except BaseException:
            await self.disconnect()
            raise

    async def disconnect(self) -> None:
        """Drop the link."""
        connection = self._connection
        if connection is None:
            return
        gone = asyncio.Event()
        connection.on(Connection.EVENT_DISCONNECTION, lambda _reason: gone.set())
        # The link may break by itself while it is being dropped.
        with contextlib.suppress(core.ConnectionError, core.ProtocolError):
            await connection.disconnect()
            await asyncio.wait_for(gone.wait(), 2.0)

    def _on_disconnection(self, _reason: int) -> None:
        self._connection = None
        self.services = None
        self._callbacks.clear()
        if self._disconnected_callback is not None:
            self._disconnected_callback()

    async def pair(self, *_args: Any, **_kwargs: Any) -> None:
        """Encrypt the link, with the keys of an earlier bond where there is one."""
        connection = self._connection
        if connection is None:
            raise BleakError("Not connected")
        if connection.encryption:
            return
        known = await self._keys.get(str(connection.peer_address)) is not None
        try:
            await self._ask(connection.encrypt() if known else connection.pair())
        except (core.ProtocolError, HCI_Error) as error:
            raise BleakError(f"Pairing failed: {error}") from error

    async def unpair(self) -> None:
        """Forget the bond."""
        await self._keys.delete(str(Address(self.address)))

    @property
    def _keys(self) -> KeyStore:
        keys = self._air.central.keystore
        assert keys is not None
        return keys

    async def _discover(self, peer: Peer) -> BleakGATTServiceCollection:
        collection = BleakGATTServiceCollection()
        for found in await peer.discover_services():
            if self._wanted and uuid_text(found.uuid) not in self._wanted:
                continue
            service = BleakGATTService(found, found.handle, uuid_text(found.uuid))
            collection.add_service(service)
            for proxy in await found.discover_characteristics():
                names: Any = [flag.name.lower().replace("_", "-") for flag in proxy.properties if flag.name]
                characteristic = BleakGATTCharacteristic(
                    proxy, proxy.handle, uuid_text(proxy.uuid), names, self._room, service
                )
                collection.add_characteristic(characteristic)
                for row in await proxy.discover_descriptors():
                    descriptor = BleakGATTDescriptor(row, row.handle, uuid_text(row.type), characteristic)
                    collection.add_descriptor(descriptor)
        return collection

    def _room(self) -> int:
        return self.mtu_size - 3

    # -- values ----------------------------------------------------------------------------------------------

    async def _ask(self, request: Any) -> Any:
        """Await an ATT request; a link that breaks under it and an ATT error become bleak's errors."""
        connection = self._connection
        if connection is None:
            request.close()
            raise BleakError("Not connected")
        task = asyncio.ensure_future(request)
        lost = asyncio.get_running_loop().create_future()

        def on_lost(_reason: int) -> None:
            if not lost.done():
                lost.set_result(None)

        connection.on(Connection.EVENT_DISCONNECTION, on_lost)
        try:
            await asyncio.wait({task, lost}, return_when=asyncio.FIRST_COMPLETED)
            # bumble cancels what waits on a link that breaks; to our caller that is no cancellation.
            if not task.done() or task.cancelled():
                raise BleakError("The link was lost")
            return task.result()
        except ATT_Error as error:
            raise BleakGATTProtocolError(error.error_code) from error
        except (core.InvalidStateError, core.TimeoutError) as error:
            raise BleakError(str(error)) from error
        finally:
            task.cancel()
            connection.remove_listener(Connection.EVENT_DISCONNECTION, on_lost)

    async def read_gatt_char(
        self, characteristic: BleakGATTCharacteristic, *, use_cached: bool = False, **_kwargs: Any
    ) -> bytearray:
        """A characteristic's value, long reads included."""
        return bytearray(await self._ask(characteristic.obj.read_value()))

    async def read_gatt_descriptor(
        self, descriptor: BleakGATTDescriptor, *, use_cached: bool = False, **_kwargs: Any
    ) -> bytearray:
        """A descriptor's value."""
        return bytearray(await self._ask(descriptor.obj.read_value()))

    async def write_gatt_char(
        self, characteristic: BleakGATTCharacteristic, data: SizedBuffer, response: bool
    ) -> None:
        """Write a value."""
        await self._ask(characteristic.obj.write_value(bytes(data), with_response=response))

    async def write_gatt_descriptor(self, descriptor: BleakGATTDescriptor, data: SizedBuffer) -> None:
        """Write a descriptor."""
        await self._ask(descriptor.obj.write_value(bytes(data), with_response=True))

    async def start_notify(
        self, characteristic: BleakGATTCharacteristic, callback: NotifyCallback, **_kwargs: Any
    ) -> None:
        """Subscribe; ``callback`` gets every notification from now on."""
        proxy: CharacteristicProxy[bytes] = characteristic.obj

        def on_value(value: bytes) -> None:
            callback(bytearray(value))

        await self._ask(proxy.subscribe(on_value))
        self._callbacks[characteristic.handle] = on_value

    async def stop_notify(self, characteristic: BleakGATTCharacteristic) -> None:
        """Unsubscribe."""
        on_value = self._callbacks.pop(characteristic.handle, None)
        if on_value is not None:
            await self._ask(characteristic.obj.unsubscribe(on_value))
