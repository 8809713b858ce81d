"""The board's Bluetooth LE side: one GATT service, advertised until a host connects and again after it left.

Everything here runs from the main loop in short steps. A notification that the radio's queue refuses is tried
again later: a rep waits, a live message is dropped and counted.
"""

import binascii
import struct

from . import wire
from .clock import ms_after
from .framing import Splitter
from .outbox import rep_index

_IRQ_CENTRAL_CONNECT = 1
_IRQ_CENTRAL_DISCONNECT = 2
_IRQ_GATTS_WRITE = 3
_IRQ_MTU_EXCHANGED = 21

_FLAG_READ = 0x0002
_FLAG_WRITE = 0x0008
_FLAG_NOTIFY = 0x0010

_ADVERTISE_EVERY_US = 100000
_ADVERTISE_AGAIN_MS = 200
_LIVE_EVERY_MS = 50
_STATUS_EVERY_MS = 1000
_RETRY_MS = 5
# A host that never says it listens (a generic Bluetooth tool) gets reps all the same, once it had time to
# subscribe.
_SILENT_HOST_MS = 3000
# As much as one link layer packet of 251 bytes carries.
_PREFERRED_MTU = 247
_CONTROL_BUFFER = 20 * wire.COMMAND_SIZE


class Radio:
    """The link to a host.

    ble: a `bluetooth.BLE()`. uuid: `bluetooth.UUID`. reps: a RepQueue, cues: a CueLine.
    pack_live(buffer, dropped), pack_status(buffer): fill LIVE_SIZE and STATUS_SIZE bytes.
    """

    def __init__(self, ble, uuid, name, reps, cues, pack_live, pack_status):
        self._ble = ble
        self._name = name
        self._reps = reps
        self._cues = cues
        self._pack_live = pack_live
        self._pack_status = pack_status
        self._splitter = Splitter(wire.REP_SIZE)
        self._live = bytearray(wire.LIVE_SIZE)
        self._status = bytearray(wire.STATUS_SIZE)
        self._connection = None
        self._mtu = wire.DEFAULT_MTU
        self._in_message = False
        self._rep_on_air = 0
        self._arrived = False
        self._left = False
        self._written = False
        self._blocked = False
        self._acknowledges = False
        self._advertise = True
        self._connected_ms = 0
        self._advertised_ms = 0
        self._refused_ms = 0
        self._live_ms = 0
        self._status_ms = 0
        self.listening = False
        self.connections = 0
        self.live_dropped = 0
        self.retries = 0
        self._uuid = uuid

    def start(self):
        # type: () -> None
        """Switch the radio on and offer the service. Raises OSError where the port's radio fails."""
        uuid = self._uuid
        self._ble.active(True)
        _try_config(self._ble, "mtu", _PREFERRED_MTU)
        if not self._name:
            self._name = default_name(self._ble.config("mac")[1])
        _try_config(self._ble, "gap_name", self._name)
        self._ble.irq(self._on_event)
        service = (
            uuid(wire.SERVICE_UUID),
            (
                (uuid(wire.REP_UUID), _FLAG_NOTIFY),
                (uuid(wire.LIVE_UUID), _FLAG_NOTIFY),
                (uuid(wire.STATUS_UUID), _FLAG_READ),
                (uuid(wire.CONTROL_UUID), _FLAG_WRITE),
            ),
        )
        handles = self._ble.gatts_register_services((service,))
        ((self._rep_handle, self._live_handle, self._status_handle, self._control_handle),) = handles
        # Commands may come faster than the main loop looks: they are appended, not overwritten.
        self._ble.gatts_set_buffer(self._control_handle, _CONTROL_BUFFER, True)
        self._ble.gatts_set_buffer(self._status_handle, wire.STATUS_SIZE)
        # A host may read it before the main loop has even noticed that it is there.
        self._refresh_status(0)

    @property
    def name(self):
        """The advertised name."""
        return self._name

    @property
    def connected(self):
        """Whether a host is connected."""
        return self._connection is not None

    def _on_event(self, event, data):
        """Radio events: note what happened, `service` acts on it (this may run between any two bytecodes)."""
        if event == _IRQ_CENTRAL_CONNECT:
            self._connection = data[0]
            self._mtu = wire.DEFAULT_MTU
            self._arrived = True
        elif event == _IRQ_CENTRAL_DISCONNECT:
            self._connection = None
            self._left = True
        elif event == _IRQ_MTU_EXCHANGED:
            self._mtu = data[1]
        elif event == _IRQ_GATTS_WRITE and data[1] == self._control_handle:
            self._written = True

    def service(self, now_ms):
        # type: (int) -> bool
        """Do one short step of what is due; True where there is more to do at once."""
        if self._written:
            # Even where the host has gone since: what it acknowledged last counts.
            self._written = False
            self._obey(self._ble.gatts_read(self._control_handle))
        if self._left:
            self._forget_host()
        if self._arrived:
            self._arrived = False
            if self._connection is not None:
                self._greet(now_ms)
        if self._connection is None:
            self._advertise_if_due(now_ms)
            return False
        if not self.listening and ms_after(now_ms, self._connected_ms) >= _SILENT_HOST_MS:
            self.listening = True
        if ms_after(now_ms, self._status_ms) >= _STATUS_EVERY_MS:
            self._refresh_status(now_ms)
        if not self.listening:
            return False
        if self._blocked and ms_after(now_ms, self._refused_ms) < _RETRY_MS:
            return False
        return self._send_live(now_ms) or self._send_rep_part(now_ms)

    def _greet(self, now_ms):
        self._advertise = False
        self.connections += 1
        self._connected_ms = now_ms
        self._live_ms = now_ms
        self._refresh_status(now_ms)

    def _forget_host(self):
        self._left = False
        if self._connection is None:
            # Else the next host is there already, and what it said must not be forgotten.
            self.listening = False
            self._acknowledges = False
        self._in_message = False
        self._blocked = False
        self._reps.rewind()
        self._advertise = True

    def _advertise_if_due(self, now_ms):
        if not self._advertise:
            return
        if self._advertised_ms and ms_after(now_ms, self._advertised_ms) < _ADVERTISE_AGAIN_MS:
            return
        self._advertised_ms = now_ms or 1
        try:
            self._ble.gap_advertise(
                _ADVERTISE_EVERY_US, adv_data=advertisement(), resp_data=scan_response(self._name)
            )
            self._advertise = False
        except OSError:
            # The stack may still be busy with the connection that just ended: try again shortly.
            pass

    def _obey(self, commands):
        for offset in range(0, len(commands) - wire.COMMAND_SIZE + 1, wire.COMMAND_SIZE):
            code, value = struct.unpack_from(wire.COMMAND_FORMAT, commands, offset)
            if code == wire.COMMAND_LISTEN:
                self.listening = True
                self._acknowledges = True
                # A message that is half out goes on: the host drops what it has already.
                self._reps.rewind()
            elif code == wire.COMMAND_ACKNOWLEDGE:
                self._reps.acknowledge(value)

    def _refresh_status(self, now_ms):
        self._status_ms = now_ms
        self._pack_status(self._status)
        try:
            self._ble.gatts_write(self._status_handle, self._status)
        except OSError:
            # Out of memory for the moment; the host reads the older one.
            pass

    def _send_live(self, now_ms):
        # type: (int) -> bool
        """Send the live message if it is due or a cue waits; a refused one is dropped and counted."""
        due = ms_after(now_ms, self._live_ms) >= _LIVE_EVERY_MS
        if not due and not self._cues.waiting:
            return False
        if due:
            self._live_ms = now_ms
        # Where the queue is full the next free place belongs to a rep.
        if not (self._blocked and self._in_message):
            # A cue is announced by one live message of its own, so that none hides behind the next.
            self._pack_live(self._live, self.live_dropped)
            if self._notify(self._live_handle, self._live, now_ms):
                self._cues.announced()
                return True
        self.live_dropped += due
        return False

    def _send_rep_part(self, now_ms):
        # type: (int) -> bool
        """Send the next part of a rep, if one waits and the queue takes it."""
        if not self._in_message:
            message = self._reps.take()
            if message is None:
                return False
            self._splitter.load(message, self._mtu)
            self._rep_on_air = rep_index(message)
            self._in_message = True
        if not self._notify(self._rep_handle, self._splitter.part(), now_ms):
            self.retries += 1
            return False
        self._in_message = self._splitter.advance()
        if not self._in_message and not self._acknowledges:
            # Nobody will acknowledge: what the queue took counts as delivered.
            self._reps.acknowledge(self._rep_on_air)
        return True

    def _notify(self, handle, data, now_ms):
        # type: (int, bytearray | memoryview, int) -> bool
        connection = self._connection
        if connection is None:
            return False
        try:
            self._ble.gatts_notify(connection, handle, data)
            self._blocked = False
            return True
        except OSError:
            # Queue full, or the link just went down (its event follows).
            self._blocked = True
            self._refused_ms = now_ms
            return False


def _try_config(ble, key, value):
    try:
        ble.config(**{key: value})
    except (ValueError, OSError):
        # Not every port has every key; the defaults do.
        pass


def default_name(mac):
    # type: (bytes) -> str
    """A name that tells two boards apart: the address's last two bytes."""
    return "Brakebeat-%02X%02X" % (mac[-2], mac[-1])


def advertisement():
    # type: () -> bytes
    """Advertising data: flags (general discoverable, LE only) and the service's UUID; 21 of 31 bytes."""
    uuid = bytes(reversed(binascii.unhexlify(wire.SERVICE_UUID.replace("-", ""))))
    return b"\x02\x01\x06\x11\x07" + uuid


def scan_response(name):
    # type: (str) -> bytes
    """Scan response data: the complete name, cut at a character's edge to the 29 bytes that fit."""
    while len(name.encode()) > 29:
        name = name[:-1]
    encoded = name.encode()
    return bytes((len(encoded) + 1, 0x09)) + encoded
