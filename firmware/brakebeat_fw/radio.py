"""The board's Bluetooth LE side: its services, advertised until a host connects and again after it left.

Everything here runs from the main loop in short steps. A notification that the radio's queue refuses is tried
again later: a record or an edge waits, a live message is dropped and counted.
"""

import binascii

from micropython import const

from . import wire
from .access import try_config
from .clock import ms_after
from .control import Control
from .framing import Splitter, checksum
from .standard import Standard
from .status import pack_live, pack_status

_IRQ_CENTRAL_CONNECT = const(1)
_IRQ_CENTRAL_DISCONNECT = const(2)
_IRQ_GATTS_WRITE = const(3)
_IRQ_GATTS_INDICATE_DONE = const(20)
_IRQ_MTU_EXCHANGED = const(21)

_READ = const(0x0002)
_WRITE = const(0x0008)
_NOTIFY = const(0x0010)
_INDICATE = const(0x0020)

# Places of the characteristics in our service.
_REP = const(0)
_LIVE = const(1)
_STATUS = const(2)
_CONTROL = const(3)
_RAW = const(4)

_ADVERTISE_EVERY_US = const(100000)
_ADVERTISE_AGAIN_MS = const(200)
_LIVE_EVERY_MS = const(50)
_STATUS_EVERY_MS = const(1000)
# Each such number of refreshed statuses a client is told to read it, changed or not.
_HINT_EVERY = const(10)
_RETRY_MS = const(5)
_RAW_ALIVE_MS = const(1000)
# A host that never says anything (a generic Bluetooth tool) gets records all the same, once it had time to
# subscribe.
_SILENT_HOST_MS = const(3000)
_SEND_AGAIN_MS = const(5000)
_ANSWER_MS = const(5000)
# As much as one link layer packet of 251 bytes carries.
_PREFERRED_MTU = const(247)
_CONTROL_BUFFER = const(512)
_MOST_EVENTS = const(16)
_MOST_HOLES = const(8)


class Radio:
    """The link to a host.

    ble: a `bluetooth.BLE()` or a `Cable`. uuid: `bluetooth.UUID`. board: the App. access: who may change things.
    """

    def __init__(self, ble, uuid, board, access):
        self._ble = ble
        self._uuid = uuid
        self._board = board
        self.access = access
        self.control = Control(board)
        self._standard = Standard(uuid, board)
        self._splitter = Splitter()
        self._live = bytearray(wire.LIVE_SIZE)
        self._status = bytearray(wire.STATUS_SIZE + 4)
        self._events = []  # type: list[tuple[int, Any, bool]]
        self._connection = None
        self._mtu = wire.DEFAULT_MTU
        self._cursor = board.journal.next
        self._blocked = False
        self._advertise = True
        self._connected_ms = 0
        self._advertised_ms = 0
        self._refused_ms = 0
        self._live_ms = 0
        self._raw_ms = 0
        self._status_ms = 0
        self._sent_ms = 0
        self._hint = 0
        self._answering = False
        self._answered_ms = 0
        self.name = board.rig.get("name") or ""
        self.listening = False
        self.connections = 0
        self.live_dropped = 0
        self.retries = 0

    # -- life ------------------------------------------------------------------------------------------------

    def start(self):
        # type: () -> None
        """Switch the radio on and offer the services. Raises OSError where the port's radio fails."""
        ble = self._ble
        # Some stacks ask for secrets, and store their own, while they start.
        ble.irq(self._on_event)
        ble.active(True)
        try_config(ble, mtu=_PREFERRED_MTU)
        mac = ble.config("mac")[1]
        # The address's last two bytes tell two boards apart.
        self.name = self.name or "Brakebeat-%02X%02X" % (mac[-2], mac[-1])
        try_config(ble, gap_name=self.name)
        self.access.start(ble)
        uuid = self._uuid
        ids = [uuid(wire.UUID % digit) for digit in wire.UUID_DIGITS]
        flags = (_NOTIFY, _NOTIFY, _READ | _NOTIFY, _WRITE | _INDICATE, _NOTIFY)
        ours = (ids[0], tuple(zip(ids[1:], flags)))  # noqa: B905 - not on MicroPython
        self._handles, *standard = ble.gatts_register_services((ours,) + tuple(self._standard.services))
        # Commands may come faster than anyone looks: they are appended, not overwritten.
        ble.gatts_set_buffer(self._handles[_CONTROL], _CONTROL_BUFFER, True)
        ble.gatts_set_buffer(self._handles[_STATUS], len(self._status))
        self._standard.fill(ble, standard, mac)
        # A host may read it before the main loop has even noticed that it is there.
        self._refresh_status(0)

    def status_line(self):
        # type: () -> str
        """The status at power-up for the console, radio or not: a cable's line of its own letter (no host is there)."""
        status = bytes(self._status)
        return "$B" + binascii.b2a_base64(status + checksum(b"B" + status)).decode().strip()

    def other_journal(self, now_ms):
        # type: (int) -> None
        """The board has begun another journal: the host is told at once, and gets nothing until it asks for that."""
        self._splitter.busy = False
        self._cursor = 0
        self.control.other_journal()
        self._hint = _HINT_EVERY
        self._status_ms = now_ms - _STATUS_EVERY_MS

    def _on_event(self, event, data):
        """Radio events: note what happened, `service` acts on it (this may run between any two bytecodes)."""
        content = data[0]
        if event == _IRQ_GATTS_WRITE:
            if data[1] != self._handles[_CONTROL]:
                return None
            # Read at once: what was written before the link was encrypted stays as untrusted as it was.
            content = self._ble.gatts_read(data[1])
        elif event == _IRQ_MTU_EXCHANGED:
            content = data[1]
        elif event > _IRQ_CENTRAL_DISCONNECT and event != _IRQ_GATTS_INDICATE_DONE:
            return self.access.on_event(event, data)
        if event != _IRQ_GATTS_WRITE or len(self._events) < _MOST_EVENTS:
            self._events.append((event, content, self.access.trusted))
        return self.access.on_event(event, data)

    def _take(self, event, content, trusted, now_ms):
        if event == _IRQ_GATTS_WRITE:
            self.control.obey(content, trusted)
        elif event == _IRQ_MTU_EXCHANGED:
            self._mtu = content
        elif event == _IRQ_GATTS_INDICATE_DONE:
            self._answering = False
        else:
            self._board.tap.stop()
            self.control.forget()
            self.listening = self._blocked = self._answering = False
            if self._splitter.busy:
                # The half that went out is worth nothing.
                self._splitter.busy = False
                self._cursor -= 1
            self._advertise = event == _IRQ_CENTRAL_DISCONNECT
            self._connection = None
            self._mtu = wire.DEFAULT_MTU
            if not self._advertise:
                self._connection = content
                self.connections += 1
                self._connected_ms = self._live_ms = now_ms
            self._refresh_status(now_ms)

    def _advertise_if_due(self, now_ms):
        if not self._advertise:
            return
        if self._advertised_ms and ms_after(now_ms, self._advertised_ms) < _ADVERTISE_AGAIN_MS:
            return
        self._advertised_ms = now_ms or 1
        data = advertisement(self._standard.cycling)
        try:
            self._ble.gap_advertise(_ADVERTISE_EVERY_US, adv_data=data, resp_data=scan_response(self.name))
            self._advertise = False
        except OSError:
            # The stack may still be busy with the connection that just ended: try again shortly.
            pass

    # -- what the main loop calls ------------------------------------------------------------------------------

    def service(self, now_ms):
        # type: (int) -> bool
        """Do one short step of what is due; True where there is more to do at once."""
        while self._events:
            self._take(*self._events.pop(0), now_ms)
        if self._connection is None:
            self._advertise_if_due(now_ms)
            return False
        if ms_after(now_ms, self._status_ms) >= _STATUS_EVERY_MS:
            self._refresh_status(now_ms)
        if self._blocked and ms_after(now_ms, self._refused_ms) < _RETRY_MS:
            return False
        if self._answer(now_ms):
            return True
        silent = ms_after(now_ms, self._connected_ms) >= _SILENT_HOST_MS
        self.listening = self._may_read() and (self.listening or self.control.heard or silent)
        if not self.listening:
            return False
        self._standard.service(self._ble, self._connection, now_ms)
        return self._send_live(now_ms) or self._send_record(now_ms) or self._send_raw(now_ms)

    def _may_read(self):
        return self._board.rig.get("board.open_reading", True) or self.access.trusted

    def _answer(self, now_ms):
        answers = self.control.answers
        if not answers or (self._answering and ms_after(now_ms, self._answered_ms) < _ANSWER_MS):
            return False
        if not self._hand_over(self._ble.gatts_indicate, _CONTROL, answers[0], now_ms):
            return False
        answers.pop(0)
        self._answering = True
        self._answered_ms = now_ms
        return True

    def _refresh_status(self, now_ms):
        self._status_ms = now_ms
        state = self._status[1]
        pack_status(self._status, self._board, self)
        self._hint += 1
        status = self._status if self._connection is not None and self._may_read() else b""
        try:
            self._ble.gatts_write(self._handles[_STATUS], status)
        except OSError:
            # Out of memory for the moment; the host reads the older one.
            return
        if not status or not self.listening or (state == status[1] and self._hint < _HINT_EVERY):
            return
        if self._hand_over(self._ble.gatts_notify, _STATUS, status[: self._mtu - 3], now_ms):
            self._hint = 0

    def _send_live(self, now_ms):
        # type: (int) -> bool
        """Send the live message if it is due or a cue waits; a refused one is dropped and counted."""
        due = ms_after(now_ms, self._live_ms) >= _LIVE_EVERY_MS
        cues = self._board.cues
        if not due and not cues.waiting:
            return False
        if due:
            self._live_ms = now_ms
        # Where the queue is full the next free place belongs to a record.
        if not (self._blocked and self._splitter.busy):
            # A cue is announced by one live message of its own, so that none hides behind the next.
            pack_live(self._live, self._board.session, cues.current(1), self.live_dropped)
            if self._hand_over(self._ble.gatts_notify, _LIVE, self._live, now_ms):
                cues.announced()
                return True
        self.live_dropped += due
        return False

    def _send_record(self, now_ms):
        # type: (int) -> bool
        """Send the next part of a record, if one waits and the queue takes it."""
        splitter = self._splitter
        if not splitter.busy and not self._load_record(now_ms):
            return False
        if not self._hand_over(self._ble.gatts_notify, _REP, splitter.part(), now_ms):
            self.retries += 1
            return False
        splitter.advance()
        self._sent_ms = now_ms
        return True

    def _load_record(self, now_ms):
        # type: (int) -> bool
        control = self.control
        journal = self._board.journal
        if control.answers:
            # A host that has asked for records hears first that it gets them.
            return False
        if control.start >= 0:
            self._cursor = control.start
            control.start = -1
        elif control.heard:
            if control.arrived is None:
                # It has not said yet from where on.
                return False
            if control.arrived + 1 < self._cursor and ms_after(now_ms, self._sent_ms) >= _SEND_AGAIN_MS:
                # Not acknowledged for long: on the way to the host something was lost.
                self._cursor = control.arrived + 1
                self._sent_ms = now_ms
        self._cursor = max(self._cursor, journal.oldest)
        for _ in range(_MOST_HOLES):
            if self._cursor >= journal.next:
                return False
            record = journal.get(self._cursor)
            self._cursor += 1
            if record:
                self._splitter.load(record, self._mtu)
                return True
        return False

    def _send_raw(self, now_ms):
        # type: (int) -> bool
        tap = self._board.tap
        if not tap.on:
            return False
        message = tap.message(self._mtu - 3, ms_after(now_ms, self._raw_ms) >= _RAW_ALIVE_MS)
        if message is None or not self._hand_over(self._ble.gatts_notify, _RAW, message, now_ms):
            return False
        self._raw_ms = now_ms
        tap.sent()
        return True

    def _hand_over(self, send, place, data, now_ms):
        # type: (Any, int, bytes | bytearray, int) -> bool
        try:
            send(self._connection, self._handles[place], data)
            self._blocked = False
            return True
        except OSError:
            # Queue full, or the link just went down (its event follows).
            self._blocked = True
            self._refused_ms = now_ms
            return False


def advertisement(cycling):
    # type: (bool) -> bytes
    """Advertising data: flags (general discoverable, LE only), our service, where asked for the cycling one."""
    uuid = bytes(reversed(binascii.unhexlify((wire.UUID % "3").replace("-", ""))))
    return b"\x02\x01\x06\x11\x07" + uuid + (b"\x03\x03\x16\x18" if cycling else b"")


def scan_response(name):
    # type: (str) -> bytes
    """Scan response data: the complete name, cut at a character's edge to the 29 bytes that fit."""
    while len(name.encode()) > 29:
        name = name[:-1]
    encoded = name.encode()
    return bytes((len(encoded) + 1, 0x09)) + encoded
