"""A board's side of the protocol in a few lines, with faults to order; its transport, and a pty that it sits behind."""

import asyncio
import contextlib
import os
import pty
import struct
import tty
import zlib
from dataclasses import dataclass, field

from brakebeat.board.files import load_wire
from brakebeat.errors import DeviceError
from brakebeat.link.serial_lines import LineReader, pack_line
from brakebeat.link.transport import Channel
from tests.link.raw_messages import raw_message

WIRE = load_wire()
MTU = 185
# A board waits 5 s for an acknowledgement.
AGAIN_S = 0.05


def sealed(message):
    return message + struct.pack("<I", zlib.crc32(message))


def packed_rep(index, start_us=None, **values):
    """A rep as boards pack it."""
    start_us = 1_000_000 + 2_000_000 * index if start_us is None else start_us
    figures = dict.fromkeys((name for name, _ in WIRE.REP_FIELDS), 0)
    figures |= {name: WIRE.ABSENT for name in figures if "_cue_" in name or name == "onset_after_us"}
    figures |= {"version": 1, "timing": 1, "index": index, "start_us": start_us, "peak_rad_s": 60.0 + index}
    figures |= {"extension_after_us": 900_000, "peak_after_us": 850_000, "end_after_us": 1_800_000}
    return struct.pack(WIRE.REP_FORMAT, *(figures | values).values())


def record(sequence, body, kind=None, boot=1):
    kind = WIRE.RECORD_REP if kind is None else kind
    return struct.pack(WIRE.RECORD_HEAD_FORMAT, kind, len(body), boot, sequence) + body


@dataclass
class FakeBoard:
    """A journal and manners. ``records``: sequence -> message."""

    records: dict = field(default_factory=dict)
    journal_id: int = 0xB0A4D
    boot: int = 1
    version: int = 2
    trusted: bool = True
    bondable: bool = True
    moving: bool = False
    mtu: int = MTU
    status: dict = field(default_factory=dict)
    edges: tuple = ()
    # Parts of records that are lost on the way: how many are sent before each loss.
    lose_parts: list = field(default_factory=list)
    # Answers that are lost on the way.
    lose_answers: int = 0
    # The link breaks after so many parts, once each.
    break_after: list = field(default_factory=list)
    acknowledged: list = field(default_factory=list)
    obeyed: list = field(default_factory=list)
    rig: bytes = b""
    refuse: dict = field(default_factory=dict)
    send = None
    hang_up = None
    sent = 0
    number = 0

    @property
    def next(self):
        return max(self.records, default=-1) + 1

    def add_reps(self, count):
        for _ in range(count):
            self.records[self.next] = record(self.next, packed_rep(self.next), boot=self.boot)

    def status_message(self):
        values = dict.fromkeys((name for name, _ in WIRE.STATUS_FIELDS), 0)
        values |= {"protocol_version": self.version, "boot": self.boot, "journal_id": self.journal_id}
        values |= {"journal_next": self.next, "journal_oldest": min(self.records, default=0)}
        values |= {"pulses_per_rev": 2, "state": 0, "supply_mv": 0xFFFF, "free_flash": WIRE.ABSENT}
        values |= {"firmware_version": b"9.9", "implementation": b"fake", "platform": b"test"}
        values |= {"name": b"barn wheel", "trouble": b""} | self.status
        return sealed(struct.pack(WIRE.STATUS_FORMAT, *values.values()))

    # -- commands --------------------------------------------------------------------------------------------

    def obey(self, commands):
        """Do what stands in one write, as a board does."""
        head = struct.calcsize(WIRE.COMMAND_HEAD_FORMAT)
        while commands:
            code, tag, size = struct.unpack_from(WIRE.COMMAND_HEAD_FORMAT, commands)
            one, commands = commands[: head + size + 4], commands[head + size + 4 :]
            assert one == sealed(one[:-4])
            assert len(one) <= max(20, self.mtu - 3)
            self._obey_one(code, tag, one[head:-4])

    def _obey_one(self, code, tag, payload):
        name = WIRE.COMMAND_NAMES[code]
        self.obeyed.append(name)
        needs_bond = name in ("raw_start", "rig_begin", "rig_part", "rig_commit", "erase")
        error, answer = WIRE.ERROR_NONE, b""
        if self.refuse.get(name):
            error = self.refuse[name].pop(0)
        elif needs_bond and not self.trusted:
            error = WIRE.ERROR_REFUSED
        else:
            answer = getattr(self, f"_{name}")(payload)
        if answer is not None:
            self._answer(code, tag, error, answer)
        if error == WIRE.ERROR_NONE and name == "from":
            self._deliver(*struct.unpack("<I", payload))
        if error == WIRE.ERROR_NONE and name == "raw_start":
            self._stream()

    def _answer(self, code, tag, error, payload):
        if self.lose_answers:
            self.lose_answers -= 1
            return
        head = struct.pack(WIRE.ANSWER_HEAD_FORMAT, code, tag, error)
        assert len(sealed(head + payload)) <= 20
        self.send(Channel.CONTROL, sealed(head + payload))

    def _hello(self, payload):
        return struct.pack(
            WIRE.HELLO_FORMAT, self.version, self.journal_id, min(self.records, default=0), self.next
        )

    def _from(self, payload):
        return b""

    def _acknowledge(self, payload):
        self.acknowledged.append(*struct.unpack("<I", payload))

    def _time(self, payload):
        return struct.pack("<QH", 5_000_000, self.boot)

    def _raw_start(self, payload):
        return struct.pack("<Q", 1_000)

    def _raw_stop(self, payload):
        return b""

    def _rig_begin(self, payload):
        self.size, self.crc = struct.unpack("<HI", payload)
        self.coming = bytearray(self.size)
        return b""

    def _rig_part(self, payload):
        (offset,) = struct.unpack_from("<H", payload)
        self.coming[offset : offset + len(payload) - 2] = payload[2:]
        return b""

    def _rig_commit(self, payload):
        assert zlib.crc32(self.coming) == self.crc
        self.rig = bytes(self.coming)
        return b""

    # -- what it sends ---------------------------------------------------------------------------------------

    def _deliver(self, first):
        for sequence in sorted(self.records):
            if sequence >= first:
                self.send_record(self.records[sequence])
        asyncio.get_running_loop().call_later(AGAIN_S, self._deliver_again, self.send)

    def _deliver_again(self, send):
        # Only over the link that it was sent over: another one asks for itself.
        if self.send is send and self.acknowledged[-1:] != [self.next - 1]:
            self._deliver(self.acknowledged[-1] + 1 if self.acknowledged else 0)

    def send_record(self, message):
        whole = sealed(message)
        room = self.mtu - 3 - WIRE.PART_HEADER_SIZE
        parts = [whole[at : at + room] for at in range(0, len(whole), room)]
        for index, part in enumerate(parts):
            last = WIRE.PART_LAST if index == len(parts) - 1 else 0
            self._send_part(bytes([self.number, index | last]) + part)
        self.number = (self.number + 1) & 0xFF

    def _send_part(self, part):
        if self.send is None:
            return
        self.sent += 1
        if self.lose_parts and self.sent == self.lose_parts[0]:
            self.lose_parts.pop(0)
            return
        self.send(Channel.REP, part)
        if self.break_after and self.sent >= self.break_after[0]:
            self.break_after.pop(0)
            self.hang_up()

    def _stream(self):
        for number, (t_us, step) in enumerate(self.edges):
            self.send(Channel.RAW, raw_message(number, 0, t_us, step))


class FakeTransport:
    """A ``Transport`` to a FakeBoard in the same process."""

    label = "barn wheel"
    address = "F0:0D:00:00:B0:01"
    keep_alive_s = None

    def __init__(self, board):
        self.board = board
        self.open_now = False
        self.bonds = 0
        # Everything that the board has said over it.
        self.sent = []

    @property
    def largest_write(self):
        return self.board.mtu - 3

    async def open(self, hear, lost):
        self._lost = lost
        self.open_now = True
        loop = asyncio.get_running_loop()

        def send(channel, message):
            if self.open_now:
                self.sent.append((channel, bytes(message)))
                loop.call_soon(self._hear_if_open, hear, channel, bytes(message))

        self.board.send, self.board.hang_up = send, self.break_link

    def _hear_if_open(self, hear, channel, message):
        if self.open_now:
            hear(channel, message)

    def break_link(self):
        if self.open_now:
            self.open_now = False
            self.board.send = lambda _channel, _message: None
            self._lost()

    async def bond(self):
        self.bonds += 1
        if not self.board.bondable:
            raise DeviceError("it does not pair now")
        self.board.trusted = True

    async def read_status(self):
        if not self.open_now:
            raise DeviceError("the link to the board was lost")
        return self.board.status_message()

    async def write(self, commands):
        await asyncio.sleep(0)
        if not self.open_now:
            raise DeviceError("the link to the board was lost")
        self.board.obey(commands)

    async def close(self):
        self.open_now = False


@contextlib.asynccontextmanager
async def behind_a_pty(board, console=b"MicroPython v1.28 on a bench\r\n>>> "):
    """The board on a serial port; gives the port's name. Console text comes first, as after a start."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    reader, loop = LineReader(), asyncio.get_running_loop()
    os.set_blocking(master, False)
    out = bytearray(console)

    def flush():
        with contextlib.suppress(BlockingIOError):
            del out[: os.write(master, out)]
        if not out:
            loop.remove_writer(master)

    def send(channel, message):
        out.extend(pack_line(channel, message))
        loop.add_writer(master, flush)

    def on_readable():
        for channel, message in reader.feed(os.read(master, 4096)):
            assert channel is Channel.CONTROL
            board.obey(message)

    async def tell_status():
        while True:
            send(Channel.STATUS, board.status_message())
            await asyncio.sleep(0.05)

    board.send = send
    loop.add_reader(master, on_readable)
    task = asyncio.create_task(tell_status())
    try:
        yield os.ttyname(slave)
    finally:
        task.cancel()
        loop.remove_reader(master)
        loop.remove_writer(master)
        for end in (master, slave):
            with contextlib.suppress(OSError):
                os.close(end)
