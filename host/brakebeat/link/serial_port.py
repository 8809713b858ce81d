"""Serial ports: which there are, and what can go wrong with one, in words."""

from __future__ import annotations

import contextlib
import errno
from collections.abc import Iterator
from dataclasses import dataclass

import serial
from serial.tools import list_ports

from brakebeat.errors import BrakebeatError, DeviceError

_WORDS = {
    errno.ENOENT: "there is no such port; `brakebeat scan` lists the ports that there are",
    errno.ENODEV: "the port is gone; plug the board in again",
    errno.EIO: "the port is gone; plug the board in again",
    errno.EACCES: "no permission to use this port (Linux: add your user to the group `dialout`, then log in again)",
    errno.EPERM: "no permission to use this port (Linux: add your user to the group `dialout`, then log in again)",
    errno.EBUSY: "another program uses this port; close it there",
    errno.EAGAIN: "another program uses this port; close it there",
    errno.ENOTTY: "this is no serial port",
}


@dataclass(frozen=True)
class Port:
    """A serial port behind which a board may be."""

    name: str
    description: str


def usb_ports() -> list[Port]:
    """The serial ports of USB devices, in order of name."""
    found = [port for port in list_ports.comports() if port.vid is not None]
    return [Port(port.device, port.description or "") for port in sorted(found, key=lambda port: port.device)]


@contextlib.contextmanager
def port_troubles(port: str) -> Iterator[None]:
    """Turn whatever a serial port throws into a DeviceError that says what to do."""
    try:
        yield
    except BrakebeatError:
        raise
    except (serial.SerialException, OSError, ValueError) as error:
        raise DeviceError(f"{port}: {words(error)}") from error


def words(error: BaseException) -> str:
    """What ``error`` means and what to do about it."""
    # pyserial keeps some of the system's errors as the cause of its own, without their number.
    for one in (error, error.__context__):
        number = getattr(one, "errno", None) or (one.args[0] if one is not None and one.args else None)
        if number in _WORDS:
            return _WORDS[number]
    return f"the serial port failed: {error or type(error).__name__}"
