"""What bleak scans with in place of an operating system's Bluetooth: a bumble device on the virtual air."""

from __future__ import annotations

import uuid
from typing import Any

from bleak.backends.scanner import AdvertisementData, BaseBleakScanner
from bumble import core
from bumble.core import AdvertisingData
from bumble.device import Advertisement, Device

from brakebeat.virtual.air import VirtualAir


class BumbleScanner(BaseBleakScanner):
    """Active scanning with the air's central."""

    def __init__(
        self,
        detection_callback: Any,
        service_uuids: list[str] | None,
        scanning_mode: str,
        *,
        air: VirtualAir,
        **_options: Any,
    ) -> None:
        super().__init__(detection_callback, service_uuids)
        self._device = air.central

    async def start(self) -> None:
        """Start scanning."""
        self.seen_devices = {}
        self._device.on(Device.EVENT_ADVERTISEMENT, self._on_advertisement)
        await self._device.start_scanning()

    async def stop(self) -> None:
        """Stop scanning."""
        self._device.remove_listener(Device.EVENT_ADVERTISEMENT, self._on_advertisement)
        if self._device.is_scanning:
            await self._device.stop_scanning()

    def _on_advertisement(self, advertisement: Advertisement) -> None:
        data = advertisement.data
        name = data.get(AdvertisingData.Type.COMPLETE_LOCAL_NAME)
        seen = AdvertisementData(
            local_name=name if isinstance(name, str) else None,
            manufacturer_data={},
            service_data={},
            service_uuids=_service_uuids(data),
            tx_power=None,
            rssi=advertisement.rssi,
            platform_data=(advertisement,),
        )
        address = str(advertisement.address).partition("/")[0]
        device = self.create_or_update_device(address, address, seen.local_name, advertisement.address, seen)
        if self.is_allowed_uuid(seen.service_uuids):
            self.call_detection_callbacks(device, seen)


def _service_uuids(data: AdvertisingData) -> list[str]:
    uuids: list[str] = []
    kinds = AdvertisingData.Type
    for kind in (
        kinds.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS,
        kinds.INCOMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS,
        kinds.COMPLETE_LIST_OF_16_BIT_SERVICE_CLASS_UUIDS,
        kinds.INCOMPLETE_LIST_OF_16_BIT_SERVICE_CLASS_UUIDS,
    ):
        for found in data.get_all(kind):
            uuids += [uuid_text(one) for one in found]
    return uuids


def uuid_text(found: core.UUID) -> str:
    """A UUID as bleak has them: 128 bits, lower case."""
    return str(uuid.UUID(bytes=found.to_bytes(force_128=True)[::-1]))
