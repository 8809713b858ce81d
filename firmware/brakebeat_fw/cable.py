"""The same messages over a serial line, for a port without a radio: stands in for its BLE object.

A line is ``$``, a letter for the characteristic, base64 of the message and the CRC-32 of letter and message. Any other
line is text for people. Who holds the cable holds the board: the link counts as bonded.
"""

import asyncio
import binascii
import select
import sys

from micropython import const

from .clock import ms_after, now_ms
from .framing import checksum

_LETTERS = b"RLSCW"
_STATUS = const(2)
_CONTROL = const(3)
_MTU = const(247)
_SILENCE_MS = const(10000)
_LONGEST = const(400)


def text(value):
    # type: (Any) -> Any
    """In place of `bluetooth.UUID`."""
    return value


class Cable:
    """A serial line with the interface of `bluetooth.BLE`, as far as `Radio` uses it."""

    def __init__(self, reader=None, writer=None):
        self._reader = reader or sys.stdin
        self._writer = writer or sys.stdout
        self._poll = select.poll()
        self._poll.register(self._reader, select.POLLIN)
        self._line = ""
        self._commands = b""
        self._connected = False
        self._heard_ms = 0

    def active(self, _on):
        """Begin to listen."""
        self._task = asyncio.create_task(self._listen())

    def config(self, *_names, **_settings):
        """Everything is as it is."""
        return (0, b"\0\0\0\0\0\0")

    def irq(self, handler):
        """As the radio's."""
        self._event = handler

    def gatts_register_services(self, services):
        """A characteristic's handle is its number; only our own service's are carried."""
        handles = []
        number = 0
        for _, characteristics in services:
            handles.append(tuple(range(number, number + len(characteristics))))
            number += len(characteristics)
        return handles

    def gatts_set_buffer(self, *_arguments):
        """Nothing to do."""

    def gap_advertise(self, *_arguments, **_data):
        """Nothing to do: a host that holds the cable has found us."""

    def gatts_read(self, _handle):
        """The commands that came."""
        commands = self._commands
        self._commands = b""
        return commands

    def gatts_write(self, handle, data, _send_update=False):
        """A status that is not empty goes out at once, as nobody can read it."""
        if handle == _STATUS and data:
            self.gatts_notify(0, handle, data)

    def gatts_notify(self, _connection, handle, data):
        """Write a line."""
        if handle < len(_LETTERS):
            message = _LETTERS[handle : handle + 1] + bytes(data)
            line = binascii.b2a_base64(message[1:] + checksum(message)).decode()
            self._writer.write("$" + chr(message[0]) + line)

    def gatts_indicate(self, connection, handle, data):
        """The same, and the line has it for sure."""
        self.gatts_notify(connection, handle, data)
        self._event(20, (connection, handle, 0))

    async def _listen(self):
        while True:
            while self._poll.poll(0):
                character = self._reader.read(1)
                if not character:
                    return
                self.take(character)
            if self._connected and ms_after(now_ms(), self._heard_ms) >= _SILENCE_MS:
                self._connected = False
                self._event(2, (0, 0, b""))
            await asyncio.sleep(0.005)

    def take(self, character):
        # type: (str) -> None
        """One character came; at a line's end its command is handed on."""
        if character not in "\r\n":
            self._line = (self._line + character)[-_LONGEST:]
            return
        line = self._line
        self._line = ""
        if line[:2] != "$C":
            return
        try:
            message = binascii.a2b_base64(line[2:])
        except ValueError:
            return
        if checksum(b"C" + message[:-4]) != message[-4:]:
            return
        self._heard_ms = now_ms()
        if not self._connected:
            self._connected = True
            self._event(1, (0, 0, b""))
            self._event(28, (0, 1, 0, 1, 16))
            self._event(21, (0, _MTU))
        self._commands += message[:-4]
        self._event(3, (0, _CONTROL))
