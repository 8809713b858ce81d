"""One board in the air: what its stand-in `bluetooth` module says, done on a bumble device, and back."""

from __future__ import annotations

import asyncio
import contextlib
import functools
import json
import struct
from typing import TYPE_CHECKING, Any

from bumble.core import UUID
from bumble.device import Connection, Device
from bumble.gatt import Characteristic, CharacteristicValue, Service
from bumble.keys import PairingKeys
from bumble.pairing import PairingConfig, PairingDelegate

from brakebeat.virtual.controller import RadioController
from brakebeat.virtual.frames import frame, read_frame
from brakebeat.virtual.keys import BoardKeys

if TYPE_CHECKING:
    from brakebeat.virtual.air import VirtualAir

# Packets that bumble may hold before the link counts as busy.
_MOST_PENDING = 4
_RANDOM_ADDRESS = 1
# Flags of a characteristic as the `bluetooth` module has them: read, write with or without response.
_READ = 0x0002
_WRITE = 0x000C


class Peripheral:
    """Serves one firmware until it hangs up."""

    def __init__(self, air: VirtualAir, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._air = air
        self._reader = reader
        self._writer = writer
        self._device: Device
        self._controller: RadioController
        self._own_attributes = 0
        self._by_handle: dict[int, Characteristic[bytes]] = {}
        self._values: dict[int, bytes] = {}
        self._connection: Connection | None = None
        self._outbox: asyncio.Queue[tuple[str, int, int, bytes]] = asyncio.Queue()
        self._indication: asyncio.Task[None] | None = None
        self._bond = False
        self._questions = 0
        self._asked: dict[int, asyncio.Future[bytes]] = {}
        self.address = ""

    async def run(self) -> None:
        """Do what the firmware asks until it is gone; then its link is lost, as when a battery dies."""
        first = await read_frame(self._reader)
        if first is None or first[0] != "A":
            return
        await self._power_on(first[1])
        sender = asyncio.create_task(self._send_all())
        try:
            while (received := await read_frame(self._reader)) is not None:
                await self._obey(*received)
        finally:
            sender.cancel()
            self._drop_indication()
            for answer in self._asked.values():
                answer.cancel()
            await asyncio.gather(sender, return_exceptions=True)
            self._vanish()

    async def _power_on(self, mac: bytes) -> None:
        self.address = ":".join(f"{byte:02X}" for byte in mac)
        self._device, self._controller = self._air.make_device("board", self.address)
        self._device.keystore = BoardKeys(self)
        self._device.pairing_config_factory = self._pairing_config
        await self._device.power_on()
        self._own_attributes = len(self._device.gatt_server.attributes)
        self._device.on(Device.EVENT_CONNECTION, self._on_connection)
        self._air.boards[self.address] = self

    def _vanish(self) -> None:
        for connection in list(self._controller.le_connections.values()):
            for other in list(self._air.link.controllers):
                peer = other.le_connections.get(connection.self_address)
                if peer is not None and isinstance(other, RadioController):
                    other.lose(peer)
        self._controller.le_legacy_advertiser.stop()
        self._air.link.remove_controller(self._controller)
        if self._air.boards.get(self.address) is self:
            del self._air.boards[self.address]

    # -- bonds -----------------------------------------------------------------------------------------------

    def _pairing_config(self, _connection: Connection) -> PairingConfig:
        delegate = PairingDelegate(PairingDelegate.IoCapability.NO_OUTPUT_NO_INPUT)
        return PairingConfig(
            sc=True,
            mitm=False,
            bonding=self._bond,
            delegate=delegate,
            identity_address_type=PairingConfig.AddressType.RANDOM,
        )

    @property
    def bonding(self) -> bool:
        """Whether both sides of the pairing that is going on want a bond."""
        session = self._session()
        return session is not None and session.bonding

    def _session(self) -> Any:
        connection = self._connection
        return None if connection is None else self._device.smp_manager.sessions.get(connection.handle)

    async def ask(self, kind: str, secret_kind: int, name: str, value: bytes) -> bytes:
        """Ask the firmware about a secret and wait for its answer; empty where it has none."""
        self._questions = (self._questions + 1) & 0xFF
        number = self._questions
        self._asked[number] = asyncio.get_running_loop().create_future()
        key = name.encode()
        self._tell(kind, bytes((number, secret_kind, len(key))) + key + value)
        try:
            return await self._asked[number]
        finally:
            del self._asked[number]

    def _on_encryption(self, connection: Connection) -> None:
        # During pairing a board hears of it when the keys are exchanged.
        if self._session() is None:
            self._tell_encryption(connection, bonded=True)

    def _on_pairing(self, connection: Connection, _keys: PairingKeys) -> None:
        self._tell_encryption(connection, bonded=self.bonding)

    def _tell_encryption(self, connection: Connection, *, bonded: bool) -> None:
        encrypted = bool(connection.encryption)
        size = connection.encryption_key_size
        self._tell("e", struct.pack("<HBBB", connection.handle, encrypted, encrypted and bonded, size))

    # -- what the firmware asks ------------------------------------------------------------------------------

    def _drop_indication(self) -> None:
        """bumble goes on waiting for a confirmation that a broken link cannot bring."""
        if self._indication is not None:
            self._indication.cancel()
            self._indication = None

    def _tell(self, kind: str, payload: bytes) -> None:
        with contextlib.suppress(ConnectionError, RuntimeError):
            self._writer.write(frame(kind, payload))

    async def _obey(self, kind: str, payload: bytes) -> None:
        if kind in "NI":
            conn_handle, value_handle = struct.unpack_from("<HH", payload)
            self._outbox.put_nowait((kind, conn_handle, value_handle, payload[4:]))
        elif kind in "WU":
            await self._write(kind, payload)
        elif kind == "S":
            self._register(json.loads(payload))
        elif kind == "V":
            await self._advertise(payload)
        elif kind == "M":
            self._device.gatt_server.max_mtu = struct.unpack("<H", payload)[0]
        elif kind == "B":
            self._bond = bool(payload[0])
        elif kind == "r" and payload[0] in self._asked:
            self._asked[payload[0]].set_result(payload[1:])
        elif kind == "D" and self._connection is not None:
            await self._connection.disconnect()

    def _register(self, table: list[Any]) -> None:
        server = self._device.gatt_server
        # Registering again replaces what was there; bumble only knows adding.
        for attribute in server.attributes[self._own_attributes :]:
            server.attributes_by_handle.pop(attribute.handle, None)
            if attribute in server.services:
                server.services.remove(attribute)
        del server.attributes[self._own_attributes :]
        self._by_handle.clear()
        self._values.clear()
        for uuid, rows in table:
            characteristics = [self._characteristic(*row) for row in rows]
            server.add_service(Service(UUID(uuid), characteristics))

    def _characteristic(self, uuid: str, flags: int, handle: int) -> Characteristic[bytes]:
        permissions = Characteristic.Permissions(0)
        if flags & _READ:
            permissions |= Characteristic.Permissions.READABLE
        if flags & _WRITE:
            permissions |= Characteristic.Permissions.WRITEABLE
        characteristic: Characteristic[bytes] = Characteristic(
            UUID(uuid),
            Characteristic.Properties(flags),
            permissions,
            CharacteristicValue(
                read=functools.partial(self._on_read, handle), write=functools.partial(self._on_write, handle)
            ),
        )
        self._by_handle[handle] = characteristic
        self._values[handle] = b""
        return characteristic

    async def _write(self, kind: str, payload: bytes) -> None:
        (handle,) = struct.unpack_from("<H", payload)
        self._values[handle] = payload[2:]
        if kind == "U" and handle in self._by_handle:
            await self._device.gatt_server.notify_subscribers(self._by_handle[handle], payload[2:])

    async def _advertise(self, payload: bytes) -> None:
        interval_us, _connectable, length = struct.unpack_from("<IBB", payload)
        if self._device.is_advertising:
            await self._device.stop_advertising()
        if not interval_us:
            return
        await self._device.start_advertising(
            advertising_data=payload[6 : 6 + length],
            scan_response_data=payload[6 + length :],
            advertising_interval_min=interval_us / 1000,
            advertising_interval_max=interval_us / 1000,
        )

    # -- what happens in the air -----------------------------------------------------------------------------

    def _on_connection(self, connection: Connection) -> None:
        self._connection = connection
        while not self._outbox.empty():
            self._outbox.get_nowait()
        connection.on(Connection.EVENT_DISCONNECTION, functools.partial(self._on_disconnection, connection))
        encryption_event = Connection.EVENT_CONNECTION_ENCRYPTION_CHANGE
        connection.on(encryption_event, functools.partial(self._on_encryption, connection))
        connection.on(Connection.EVENT_PAIRING, functools.partial(self._on_pairing, connection))
        mtu_event = Connection.EVENT_CONNECTION_ATT_MTU_UPDATE
        connection.on(mtu_event, functools.partial(self._on_mtu, connection))
        head = struct.pack("<HH", connection.handle, self._air.limits.queue)
        self._tell("c", head + bytes([_RANDOM_ADDRESS]) + _address_bytes(connection))

    def _on_disconnection(self, connection: Connection, _reason: int) -> None:
        self._connection = None
        self._drop_indication()
        self._tell("d", struct.pack("<HB", connection.handle, _RANDOM_ADDRESS) + _address_bytes(connection))

    def _on_mtu(self, connection: Connection) -> None:
        self._tell("m", struct.pack("<HH", connection.handle, connection.att_mtu))

    def _on_read(self, handle: int, _connection: Connection) -> bytes:
        return self._values[handle]

    def _on_write(self, handle: int, connection: Connection, value: bytes) -> None:
        self._tell("w", struct.pack("<HH", connection.handle, handle) + bytes(value))

    async def _send_all(self) -> None:
        """Send what waits at the link's pace; each one sent gives the firmware a place in the queue back."""
        limits = self._air.limits
        sent = 0
        while True:
            kind, conn_handle, value_handle, data = await self._outbox.get()
            if limits.event_interval_s and sent % limits.packets_per_event == 0:
                await asyncio.sleep(limits.event_interval_s)
            sent += 1
            while self._busy():
                await asyncio.sleep(0.001)
            await self._send(kind, conn_handle, value_handle, data)

    def _busy(self) -> bool:
        queue = self._device.host.le_acl_packet_queue
        return self._connection is not None and queue is not None and queue.pending > _MOST_PENDING

    async def _send(self, kind: str, conn_handle: int, value_handle: int, data: bytes) -> None:
        connection = self._connection
        characteristic = self._by_handle.get(value_handle)
        if connection is None or connection.handle != conn_handle or characteristic is None:
            # The link it was meant for is gone, and its queue with it.
            return
        server = self._device.gatt_server
        if kind == "N":
            # A board's stack notifies whether the client has subscribed or not.
            await server.notify_subscriber(connection, characteristic, data, force=True)
            self._tell("k", struct.pack("<H", 1))
        else:
            # What is notified meanwhile does not wait for the client's confirmation.
            self._indication = asyncio.create_task(
                self._indicate(connection, characteristic, value_handle, data)
            )
            # It goes out now, before what comes behind it in the queue.
            await asyncio.sleep(0)

    async def _indicate(
        self, connection: Connection, characteristic: Characteristic[bytes], value_handle: int, data: bytes
    ) -> None:
        await self._device.gatt_server.indicate_subscriber(connection, characteristic, data, force=True)
        self._tell("k", struct.pack("<H", 1))
        self._tell("i", struct.pack("<HHB", connection.handle, value_handle, 0))


def _address_bytes(connection: Connection) -> bytes:
    # As text, most significant byte first: that is how MicroPython hands addresses out.
    return bytes.fromhex(str(connection.peer_address).partition("/")[0].replace(":", ""))
