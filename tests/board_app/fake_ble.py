"""A BLE object and a board around a radio, driven by a clock of our own: full queues, silent hosts, strangers."""

import errno
import struct
import uuid
from types import SimpleNamespace

from brakebeat.link.reassembly import Reassembler
from tests.board_app.firmware import (
    access,
    command,
    control,
    journal,
    outbox,
    packed_rep,
    radio,
    raw,
    region,
    rigfile,
    wire,
)

CONNECTION = 64
REP, LIVE, STATUS, CONTROL, RAW = 13, 16, 19, 21, 24


class Ble:
    """As much of MicroPython's BLE as the radio uses; ``room`` notifications fit its queue."""

    def __init__(self, room=1000, pairing=True):
        self.room = room
        self.pairing = pairing
        self.sent = []
        self.answers = []
        self.advertised = []
        self.advertising_fails = 0
        self.written = b""
        self.values = {}
        self.settings = {}
        self.handler = None

    def active(self, on):
        assert on

    def config(self, *names, **settings):
        if names:
            return (1, bytes.fromhex("f00d0000b0a1"))
        if "gap_name" in settings or ("bond" in settings and not self.pairing):
            raise ValueError("unknown config param")
        self.settings.update(settings)
        return None

    def irq(self, handler):
        self.handler = handler

    def gatts_register_services(self, services):
        self.services = services
        handles = [(REP, LIVE, STATUS, CONTROL, RAW)]
        first = 30
        for _, characteristics in services[1:]:
            handles.append(tuple(range(first, first + len(characteristics))))
            first += len(characteristics)
        return tuple(handles)

    def gatts_set_buffer(self, handle, length, append=False):
        assert append == (handle == CONTROL)

    def gatts_write(self, handle, data, send_update=False):
        self.values[handle] = bytes(data)

    def gatts_read(self, handle):
        assert handle == CONTROL
        written, self.written = self.written, b""
        return written

    def gatts_notify(self, connection, handle, data):
        if len(self.sent) >= self.room:
            raise OSError(errno.ENOMEM)
        self.sent.append((handle, bytes(data)))

    def gatts_indicate(self, connection, handle, data):
        if len(self.sent) >= self.room:
            raise OSError(errno.ENOMEM)
        assert handle == CONTROL
        assert len(data) <= 20
        self.answers.append(bytes(data))
        self.handler(20, (connection, handle, 0))

    def gap_advertise(self, interval_us, adv_data=None, resp_data=None):
        if self.advertising_fails:
            self.advertising_fails -= 1
            raise OSError(errno.EBUSY)
        self.advertised.append((interval_us, adv_data, resp_data))


class Session:
    """What a radio looks at; its clock stands."""

    phase = speed_milli_rad_s = 0
    bounced = missed = spurious = overrun = incomplete = 0

    def __init__(self, rig):
        self.rig = rig
        self.fed = []
        self.reps = SimpleNamespace(count=0, of_set=0)

    def learnt_magnets(self, first):
        return b"\x06\x05"

    def now_us(self, ticks):
        return ticks

    def feed(self, times, steps, count):
        self.fed += zip(times[:count], steps[:count], strict=True)
        # As the real one, which uses them as scratch.
        times[:count] = type(times)("i", [0] * count)

    def poll(self, now):
        pass


class Board:
    """A radio and all that it asks."""

    def __init__(self, room=1000, name="", pairing=True, files="/nowhere/", button=None, **settings):
        self.ble = Ble(room, pairing)
        self.rig = {**rigfile.defaults(), "name": name, **settings}
        self.session = Session(self.rig)
        self.source = SimpleNamespace(lost=0, now=lambda: 7_000_000)
        self.tap = raw.Tap(self.session, self.source, self.rig.get("board.cycling"))
        self.journal = journal.Journal(region.MemoryRegion())
        self.cues = outbox.CueLine()
        self.sounder = SimpleNamespace(sounded=0)
        self.supply = None
        self.at_rest = True
        self.trouble = ""
        self.rig_crc = self.faults = 0
        self.rigs_taken = []
        self.now_ms = 5000
        self.access = access.Access(files + "bonds", button, self.now_ms)
        self.radio = radio.Radio(self.ble, uuid_or_text, self, self.access)
        self.radio.start()
        self._tag = 0

    def clock_us(self):
        return 7_000_000

    def uptime_s(self):
        return self.now_ms // 1000

    def take_rig(self, data):
        try:
            rigfile.parse(data.decode())
        except ValueError as error:
            return str(error)
        self.rigs_taken.append(data)
        return ""

    def put(self, index):
        """A rep that is in the journal at once."""
        self.journal.put(1, packed_rep(index))
        self.keep()

    def keep(self):
        for _ in range(3):
            self.journal.service(True)

    def run(self, duration_ms, room_each_ms=0):
        for _ in range(duration_ms):
            self.now_ms += 1
            self.ble.room += room_each_ms
            self.access.service(self.now_ms, self.at_rest)
            for _ in range(50):
                if not self.radio.service(self.now_ms):
                    break

    def connect(self, listen=True, start=0):
        self.ble.handler(1, (CONNECTION, 1, memoryview(bytes(6))))
        if listen:
            self.ask(control._COMMAND_HELLO, bytes((2, 2)))
            self.ask(control._COMMAND_FROM, struct.pack("<I", start))
        self.run(1)

    def disconnect(self):
        self.ble.handler(2, (CONNECTION, 1, memoryview(bytes(6))))
        self.run(1)

    def encrypt(self, bonded=True):
        self.ble.handler(28, (CONNECTION, 1, 0, int(bonded), 16))

    def write(self, commands):
        self.ble.written += commands
        self.ble.handler(3, (CONNECTION, CONTROL))

    def ask(self, code, payload=b""):
        """Write a command; what `answer` then gives is its answer."""
        self._tag = (self._tag + 1) & 0xFF
        self.write(command(code, payload, self._tag))

    def error_of(self, code, payload=b""):
        """Write a command and have it answered: the error."""
        before = len(self.ble.answers)
        self.ask(code, payload)
        self.run(2)
        (answer,) = self.ble.answers[before:]
        assert answer[:2] == bytes((code, self._tag))
        return answer[2]

    def acknowledge(self, sequence):
        self.ask(control._COMMAND_ACKNOWLEDGE, struct.pack("<I", sequence))

    def records_heard(self):
        parts = Reassembler()
        whole = [parts.feed(data) for handle, data in self.ble.sent if handle == REP]
        return [message for message in whole if message is not None]

    def heard(self):
        """Sequence numbers of the records that came whole."""
        return [struct.unpack_from("<I", message, 4)[0] for message in self.records_heard()]

    def lives_heard(self):
        return [struct.unpack(wire.LIVE_FORMAT, data) for handle, data in self.ble.sent if handle == LIVE]


def uuid_or_text(value):
    """A UUID of 16 bits as the number, a long one parsed."""
    return value if isinstance(value, int) else uuid.UUID(value)
