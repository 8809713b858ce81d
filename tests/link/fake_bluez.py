"""A small org.bluez on a private D-Bus, with a board of the virtual air behind it: as much as bleak asks for.

Interfaces and the order of events as in BlueZ's own documentation (org.bluez.Adapter, .Device, .GattService,
.GattCharacteristic); object paths as bleak parses them.
"""

import asyncio
import contextlib
from typing import Annotated, Any

from bleak.backends.characteristic import BleakGATTCharacteristic
from dbus_fast import BusType, PropertyAccess, Variant
from dbus_fast.aio import MessageBus
from dbus_fast.annotations import (
    DBusBool,
    DBusBytes,
    DBusDict,
    DBusInt16,
    DBusObjectPath,
    DBusSignature,
    DBusStr,
    DBusUInt16,
)
from dbus_fast.errors import DBusError
from dbus_fast.service import ServiceInterface, dbus_method, dbus_property

from brakebeat.virtual.air import VirtualAir
from brakebeat.virtual.bleak_client import BumbleClient
from brakebeat.virtual.bleak_scanner import BumbleScanner

Strings = Annotated[list[str], DBusSignature("as")]
READ_ONLY = PropertyAccess.READ
ADAPTER = "/org/bluez/hci0"


class Adapter(ServiceInterface):
    """org.bluez.Adapter1."""

    def __init__(self, bluez: "FakeBluez", powered: bool, roles: list[str]) -> None:
        super().__init__("org.bluez.Adapter1")
        self._bluez = bluez
        self._powered = powered
        self._roles = roles

    @dbus_property(access=READ_ONLY)
    def Address(self) -> DBusStr:
        return "F0:0D:00:00:00:01"

    @dbus_property(access=READ_ONLY)
    def Powered(self) -> DBusBool:
        return self._powered

    @dbus_property(access=READ_ONLY)
    def Roles(self) -> Strings:
        return self._roles

    @dbus_method()
    def SetDiscoveryFilter(self, properties: DBusDict) -> None:
        self._bluez.filters.append(properties)

    @dbus_method()
    async def StartDiscovery(self) -> None:
        await self._bluez.start_discovery()

    @dbus_method()
    async def StopDiscovery(self) -> None:
        await self._bluez.stop_discovery()


class Device(ServiceInterface):
    """org.bluez.Device1."""

    def __init__(self, bluez: "FakeBluez", address: str, name: str | None, uuids: list[str]) -> None:
        super().__init__("org.bluez.Device1")
        self._bluez = bluez
        self.address = address
        self.label = name or address.replace(":", "-")
        self.uuids = uuids
        self.connected = False
        self.resolved = False

    @property
    def path(self) -> str:
        return f"{ADAPTER}/dev_{self.address.replace(':', '_')}"

    @dbus_property(access=READ_ONLY)
    def Address(self) -> DBusStr:
        return self.address

    @dbus_property(access=READ_ONLY)
    def Alias(self) -> DBusStr:
        return self.label

    @dbus_property(access=READ_ONLY)
    def Name(self) -> DBusStr:
        return self.label

    @dbus_property(access=READ_ONLY)
    def Adapter(self) -> DBusObjectPath:
        return ADAPTER

    @dbus_property(access=READ_ONLY)
    def UUIDs(self) -> Strings:
        return self.uuids

    @dbus_property(access=READ_ONLY)
    def RSSI(self) -> DBusInt16:
        return -50

    @dbus_property(access=READ_ONLY)
    def Paired(self) -> DBusBool:
        return False

    @dbus_property(access=READ_ONLY)
    def Connected(self) -> DBusBool:
        return self.connected

    @dbus_property(access=READ_ONLY)
    def ServicesResolved(self) -> DBusBool:
        return self.resolved

    @dbus_method()
    async def Connect(self) -> None:
        await self._bluez.connect(self)

    @dbus_method()
    async def Disconnect(self) -> None:
        await self._bluez.disconnect(self)

    def seen_again(self) -> None:
        self.emit_properties_changed({"RSSI": -50})

    def tell(self, connected: bool, resolved: bool) -> None:
        changes = {}
        if connected != self.connected:
            changes["Connected"] = self.connected = connected
        if resolved != self.resolved:
            changes["ServicesResolved"] = self.resolved = resolved
        self.emit_properties_changed(changes)


class Service(ServiceInterface):
    """org.bluez.GattService1."""

    def __init__(self, uuid: str, device: str) -> None:
        super().__init__("org.bluez.GattService1")
        self._uuid = uuid
        self._device = device

    @dbus_property(access=READ_ONLY)
    def UUID(self) -> DBusStr:
        return self._uuid

    @dbus_property(access=READ_ONLY)
    def Primary(self) -> DBusBool:
        return True

    @dbus_property(access=READ_ONLY)
    def Device(self) -> DBusObjectPath:
        return self._device


class Characteristic(ServiceInterface):
    """org.bluez.GattCharacteristic1, on a characteristic of the virtual air."""

    def __init__(self, client: BumbleClient, real: BleakGATTCharacteristic, service: str) -> None:
        super().__init__("org.bluez.GattCharacteristic1")
        self._client = client
        self._real = real
        self._service = service
        self._value = b""
        self._notifying = False

    @dbus_property(access=READ_ONLY)
    def UUID(self) -> DBusStr:
        return self._real.uuid

    @dbus_property(access=READ_ONLY)
    def Service(self) -> DBusObjectPath:
        return self._service

    @dbus_property(access=READ_ONLY)
    def Flags(self) -> Strings:
        return list(self._real.properties)

    @dbus_property(access=READ_ONLY)
    def Value(self) -> DBusBytes:
        return self._value

    @dbus_property(access=READ_ONLY)
    def Notifying(self) -> DBusBool:
        return self._notifying

    @dbus_property(access=READ_ONLY)
    def MTU(self) -> DBusUInt16:
        return self._client.mtu_size

    @dbus_method()
    async def ReadValue(self, options: DBusDict) -> DBusBytes:
        with bluez_errors():
            return bytes(await self._client.read_gatt_char(self._real))

    @dbus_method()
    async def WriteValue(self, value: DBusBytes, options: DBusDict) -> None:
        response = options.get("type", Variant("s", "request")).value == "request"
        with bluez_errors():
            await self._client.write_gatt_char(self._real, value, response)

    @dbus_method()
    async def StartNotify(self) -> None:
        with bluez_errors():
            await self._client.start_notify(self._real, self._on_value)
        self._notifying = True

    @dbus_method()
    async def StopNotify(self) -> None:
        with bluez_errors():
            await self._client.stop_notify(self._real)
        self._notifying = False

    def _on_value(self, value: bytearray) -> None:
        self._value = bytes(value)
        self.emit_properties_changed({"Value": self._value})


@contextlib.contextmanager
def bluez_errors():
    """Failures as BlueZ names them."""
    try:
        yield
    except Exception as error:
        raise DBusError("org.bluez.Error.Failed", str(error)) from error


class FakeBluez:
    """The service: exports an adapter and what the air has."""

    def __init__(self, air: VirtualAir) -> None:
        self._air = air
        self._bus: Any = None
        self._scanner: BumbleScanner | None = None
        self._devices: dict[str, Device] = {}
        self._clients: dict[str, BumbleClient] = {}
        self._exported: dict[str, list[tuple[str, ServiceInterface]]] = {}
        self.filters: list[dict[str, Variant]] = []

    async def start(self, address: str, *, adapter: bool = True, powered: bool = True, roles=("central",)):
        """Take the name org.bluez on the bus at ``address``."""
        self._bus = await MessageBus(bus_address=address, bus_type=BusType.SYSTEM).connect()
        if adapter:
            self._bus.export(ADAPTER, Adapter(self, powered, list(roles)))
        await self._bus.request_name("org.bluez")

    async def stop(self) -> None:
        for client in self._clients.values():
            await client.disconnect()
        await self.stop_discovery()
        self._bus.disconnect()
        await self._bus.wait_for_disconnect()

    async def start_discovery(self) -> None:
        self._scanner = BumbleScanner(self._on_seen, None, "active", air=self._air)
        await self._scanner.start()

    async def stop_discovery(self) -> None:
        if self._scanner is not None:
            await self._scanner.stop()
            self._scanner = None

    def _on_seen(self, found, data) -> None:
        device = self._devices.get(found.address)
        if device is not None:
            device.seen_again()
            return
        device = Device(self, found.address, data.local_name, data.service_uuids)
        self._devices[found.address] = device
        self._bus.export(device.path, device)

    async def connect(self, device: Device) -> None:
        client = BumbleClient(
            device.address,
            disconnected_callback=lambda: self._gone(device),
            timeout=5.0,
            air=self._air,
        )
        with bluez_errors():
            await client.connect(False)
        self._clients[device.address] = client
        device.tell(True, False)
        self._export_services(device, client)
        device.tell(True, True)

    def _export_services(self, device: Device, client: BumbleClient) -> None:
        exported = self._exported[device.address] = []
        assert client.services is not None
        for service in client.services:
            service_path = f"{device.path}/service{service.handle:04x}"
            exported.append((service_path, Service(service.uuid, device.path)))
            for characteristic in service.characteristics:
                path = f"{service_path}/char{characteristic.handle:04x}"
                exported.append((path, Characteristic(client, characteristic, service_path)))
        for path, interface in exported:
            self._bus.export(path, interface)

    def _gone(self, device: Device) -> None:
        self._clients.pop(device.address, None)
        for path, interface in reversed(self._exported.pop(device.address, [])):
            self._bus.unexport(path, interface)
        device.tell(False, False)

    async def disconnect(self, device: Device) -> None:
        client = self._clients.get(device.address)
        if client is not None:
            await client.disconnect()


@contextlib.asynccontextmanager
async def private_bus(folder):
    """The address of a D-Bus of our own, with a daemon that ends with it."""
    path = folder / "bus"
    daemon = await asyncio.create_subprocess_exec(
        "dbus-daemon",
        "--session",
        "--nofork",
        "--nopidfile",
        "--print-address",
        f"--address=unix:path={path}",
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.DEVNULL,
    )
    try:
        assert daemon.stdout is not None
        # The address is printed once the socket is there.
        assert await daemon.stdout.readline()
        yield f"unix:path={path}"
    finally:
        daemon.terminate()
        await daemon.wait()
