"""Which serial port the board is on."""

from __future__ import annotations

from brakebeat.errors import DeviceError
from brakebeat.link.serial_port import usb_ports


def board_port(wanted: str | None) -> str:
    """The port that is meant: the one named, else the only one of a USB device.

    Raises:
        DeviceError: there is none, or there are several (they are listed).
    """
    if wanted is not None:
        return wanted
    ports = usb_ports()
    if not ports:
        raise DeviceError(
            "no board found on any USB port; plug it in with a cable that carries data (many only charge), and "
            "see that MicroPython is on it. --port names a port that is not USB"
        )
    if len(ports) > 1:
        listed = "\n".join(f"  --port {port.name}  {port.description}" for port in ports)
        raise DeviceError(f"{len(ports)} USB ports are found; say which one the board is on:\n{listed}")
    return ports[0].name
