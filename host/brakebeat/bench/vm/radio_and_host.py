"""On the VM: a radio's stack, and at its other end a host that takes each record once and acknowledges it.

Import it once the firmware can be imported.
"""

import binascii
import struct

from world import world

from brakebeat_fw import wire

_ENOMEM = 12
_CONNECTION = 64
_HANDLES = (13, 16, 19, 21, 24)
_REP, _LIVE, _STATUS, _CONTROL, _RAW = _HANDLES
_MTU = 185
# Notifications that the stack's queue holds; the world empties it.
_QUEUE = 8

# The next number that the host wants, by journal: it outlives the board's power-ups.
wanted = {}


class Ble:
    """The radio's stack and the host at its other end, which takes each record once and acknowledges it."""

    def __init__(self):
        self.handler = None
        self.written = b""
        self.connected = False
        self.journal = 0
        self.parts = b""
        self.cue_count = None
        self.cues = 0

    # -- the stack ---------------------------------------------------------------------------------------------

    def active(self, _on):
        """Nothing to do."""

    def config(self, *names, **_settings):
        """Asked for the address, it tells one."""
        return (1, b"\xf0\r\0\0\xb0\x0c")

    def irq(self, handler):
        """Who hears of events."""
        self.handler = handler

    def gatts_register_services(self, services):
        """Our own service comes first."""
        handles = [_HANDLES]
        for _, characteristics in services[1:]:
            handles.append(tuple(range(30, 30 + len(characteristics))))
        return tuple(handles)

    def gatts_set_buffer(self, *_arguments):
        """Nothing to do."""

    def gatts_write(self, _handle, _data, _send_update=False):
        """Nobody reads it here."""

    def gap_advertise(self, *_arguments, **_data):
        """The host knows us."""

    def gatts_read(self, _handle):
        """What the host wrote."""
        written = self.written
        self.written = b""
        return written

    def gatts_notify(self, _connection, handle, data):
        """Into the queue, if it has room."""
        if world.queue >= _QUEUE:
            raise OSError(_ENOMEM)
        world.queue += 1
        if handle == _REP:
            self._part(bytes(data))
        elif handle == _LIVE:
            self._live(bytes(data))

    def gatts_indicate(self, connection, handle, data):
        """An answer."""
        if data[0] == 1:
            self._begin(struct.unpack_from(wire.HELLO_FORMAT, data, 3)[1])
        self.handler(20, (connection, handle, 0))

    # -- the host ----------------------------------------------------------------------------------------------

    def connect(self):
        """A bonded host that asks for all that it lacks."""
        self.connected = True
        self.cue_count = None
        self.handler(1, (_CONNECTION, 0, b""))
        self.handler(28, (_CONNECTION, 1, 0, 1, 16))
        self.handler(21, (_CONNECTION, _MTU))
        self._ask(4, struct.pack("<Q", 1700000000000000 + world.now_us))
        self._ask(1, bytes((wire.PROTOCOL_VERSION, wire.PROTOCOL_VERSION)))

    def disconnect(self):
        """The link breaks."""
        self.connected = False
        self.parts = b""
        self.handler(2, (_CONNECTION, 0, b""))

    def _ask(self, code, payload):
        self.write(sealed(bytes((code, 7, len(payload))) + payload))

    def write(self, data):
        """Any bytes on CONTROL."""
        self.written += data
        self.handler(3, (_CONNECTION, _CONTROL))

    def _begin(self, journal):
        self.journal = journal
        self._ask(2, struct.pack("<I", wanted.get(journal, 0)))

    def _live(self, data):
        count = data[2]
        if self.cue_count is not None:
            self.cues += (count - self.cue_count) & 0xFF
        self.cue_count = count

    def _part(self, part):
        self.parts = part[2:] if not part[1] & 127 else self.parts + part[2:]
        if not part[1] & 128:
            return
        message = self.parts[:-4]
        if sealed(message) != self.parts:
            raise ValueError("a damaged record was sent")
        kind, size, boot, sequence = struct.unpack_from(wire.RECORD_HEAD_FORMAT, message)
        if sequence >= wanted.get(self.journal, 0):
            wanted[self.journal] = sequence + 1
            body = binascii.hexlify(message[8 : 8 + size]).decode()
            print("R", self.journal, sequence, kind, boot, body)
        self._ask(3, struct.pack("<I", sequence))


def sealed(message):
    """A message with the checksum that seals it."""
    return message + struct.pack("<I", binascii.crc32(message) & 0xFFFFFFFF)
