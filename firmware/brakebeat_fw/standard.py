"""Services of the Bluetooth SIG beside our own: device information, battery, the wheel as a cycling sensor."""

import binascii
import struct

from micropython import const

from . import VERSION
from .clock import ms_after

_READ = const(0x0002)
_NOTIFY = const(0x0010)
_EVERY_MS = const(1000)


class Standard:
    """``services`` to be registered: the battery only where the supply is measured, cycling where the rig file asks.

    uuid: `bluetooth.UUID`. board: the App.
    """

    def __init__(self, uuid, board):
        self._board = board
        texts = tuple([(uuid(number), _READ) for number in (0x2A24, 0x2A25, 0x2A26)])
        self.services = [(uuid(0x180A), texts)]
        if board.supply:
            self.services.append((uuid(0x180F), ((uuid(0x2A19), _READ | _NOTIFY),)))
        self.cycling = board.rig.get("board.cycling")
        if self.cycling:
            self.services.append((uuid(0x1816), ((uuid(0x2A5B), _NOTIFY), (uuid(0x2A5C), _READ))))
        self._battery = self._measurement = 0
        self._last_ms = 0

    def fill(self, ble, handles, mac):
        # type: (Any, Any, bytes) -> None
        """Write what never changes. handles: of the registered ``services``, in their order."""
        handles = list(handles)
        values = (b"Brakebeat", binascii.hexlify(mac), VERSION.encode())
        for handle, value in zip(handles.pop(0), values):  # noqa: B905 - not on MicroPython
            ble.gatts_write(handle, value)
        if self._board.supply:
            (self._battery,) = handles.pop(0)
        if self.cycling:
            self._measurement, feature = handles.pop(0)
            # Wheel revolutions and no more.
            ble.gatts_write(feature, b"\1\0")

    def service(self, ble, connection, now_ms):
        # type: (Any, int, int) -> None
        """Tell what is due each second; what a full queue refuses is told in the next."""
        if ms_after(now_ms, self._last_ms) < _EVERY_MS:
            return
        self._last_ms = now_ms
        try:
            if self._board.supply:
                ble.gatts_write(self._battery, bytes((self._board.supply.percent(),)), True)
            if self.cycling:
                tap = self._board.tap
                # 1/1024 s, as the characteristic wants it.
                time = self._board.session.now_us(tap.turn_ticks) * 1024 // 1000000 & 0xFFFF
                ble.gatts_notify(connection, self._measurement, struct.pack("<BIH", 1, tap.turns, time))
        except OSError:
            pass
