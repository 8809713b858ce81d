"""What can go wrong with Bluetooth, in words that say what to do."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
)

from brakebeat.errors import BrakebeatError, DeviceError

_Reason = BleakBluetoothNotAvailableReason
_NO_PERMISSION = (
    "no permission to use Bluetooth; allow it for this program in the system's privacy settings "
    "(Linux: add your user to the group `bluetooth`, then log in again)"
)
_UNAVAILABLE = {
    _Reason.NO_BLUETOOTH: "no Bluetooth adapter found; plug one in, or check that its driver is loaded",
    _Reason.NO_BLE_CENTRAL_ROLE: "the Bluetooth adapter cannot do Bluetooth LE as a central; use another one",
    _Reason.POWERED_OFF: "Bluetooth is off; switch it on and try again",
    _Reason.DENIED_BY_USER: _NO_PERMISSION,
    _Reason.DENIED_BY_SYSTEM: _NO_PERMISSION,
    _Reason.DENIED_BY_UNKNOWN: _NO_PERMISSION,
    _Reason.UNKNOWN: "Bluetooth is not available, the system does not say why; switch it off and on again",
}
_NOT_PAIRED = (
    "the board does not pair now; hold the button on the board for 3 s (or switch it off and on), then try again "
    "within 60 s"
)
_DBUS = {
    "org.bluez.Error.AuthenticationFailed": _NOT_PAIRED,
    "org.bluez.Error.AuthenticationRejected": _NOT_PAIRED,
    "org.bluez.Error.AuthenticationCanceled": _NOT_PAIRED,
    "org.bluez.Error.AuthenticationTimeout": _NOT_PAIRED,
    "org.freedesktop.DBus.Error.AccessDenied": _NO_PERMISSION,
    "org.bluez.Error.NotAuthorized": _NO_PERMISSION,
    "org.bluez.Error.NotPermitted": _NO_PERMISSION,
    "org.freedesktop.DBus.Error.ServiceUnknown": "Bluetooth's service (BlueZ) does not run; start it",
    "org.bluez.Error.NotReady": _UNAVAILABLE[_Reason.POWERED_OFF],
}


@contextlib.contextmanager
def bluetooth_troubles(doing: str) -> Iterator[None]:
    """Turn whatever Bluetooth throws at ``doing`` into a DeviceError that says what to do."""
    try:
        yield
    except BrakebeatError:
        raise
    except (BleakError, OSError, EOFError) as error:
        raise DeviceError(f"{doing}: {words(error)}") from error
    except Exception as error:
        # dbus-fast has errors of its own and is there on Linux only.
        if not type(error).__module__.startswith("dbus_fast"):
            raise
        raise DeviceError(f"{doing}: {words(error)}") from error


def words(error: BaseException) -> str:
    """What ``error`` means and what to do about it."""
    if isinstance(error, BleakBluetoothNotAvailableError):
        return _UNAVAILABLE.get(error.reason, str(error))
    if isinstance(error, BleakDBusError):
        return _DBUS.get(error.dbus_error, f"Bluetooth's service refused: {error}")
    if isinstance(error, BleakDeviceNotFoundError):
        return "the board is not in reach any more; bring it closer, check its power, try again"
    if isinstance(error, TimeoutError):
        return "the board did not answer in time; bring it closer, try again"
    if isinstance(error, PermissionError):
        return _NO_PERMISSION
    if isinstance(error, FileNotFoundError | ConnectionError):
        return "no Bluetooth service on this computer (no system D-Bus); install and start BlueZ"
    return f"Bluetooth failed: {error or type(error).__name__}"
