"""As plain a host as can be for the protocol: a bleak client that writes commands and takes what comes."""

import asyncio
import binascii
import struct

from bleak import BleakClient

from brakebeat.board.files import load_wire

wire = load_wire()


def sealed(data: bytes) -> bytes:
    return data + struct.pack("<I", binascii.crc32(data))


def unsealed(data: bytes) -> bytes:
    assert sealed(data[:-4]) == data, "damaged"
    return data[:-4]


def command(code: int, payload: bytes = b"", tag: int = 0) -> bytes:
    return sealed(struct.pack(wire.COMMAND_HEAD_FORMAT, code, tag, len(payload)) + payload)


class Client:
    """Connected inside `async with`; ``records`` by sequence number, ``raw`` notifications, ``lives``."""

    def __init__(self, target, **options):
        self.lost = asyncio.Event()
        self.ble = BleakClient(target, disconnected_callback=lambda _client: self.lost.set(), **options)
        self.records: dict[int, bytes] = {}
        self.order: list[int] = []
        self.raw: list[bytes] = []
        self.lives: list[bytes] = []
        self.hints: list[bytes] = []
        self.arrived = asyncio.Event()
        self._parts = b""
        self._next_part: tuple[int, int] | None = None
        self._answers: asyncio.Queue[bytes] = asyncio.Queue()
        self._tag = 0

    async def __aenter__(self):
        await self.ble.connect()
        return self

    async def __aexit__(self, *error):
        await self.ble.disconnect()

    async def subscribe(self):
        await self.ble.start_notify(wire.CONTROL_UUID, lambda _, data: self._answers.put_nowait(bytes(data)))
        await self.ble.start_notify(wire.REP_UUID, lambda _, data: self._on_part(bytes(data)))
        await self.ble.start_notify(wire.LIVE_UUID, lambda _, data: self.lives.append(bytes(data)))
        await self.ble.start_notify(wire.RAW_UUID, lambda _, data: self.raw.append(bytes(data)))
        await self.ble.start_notify(wire.STATUS_UUID, lambda _, data: self.hints.append(bytes(data)))

    def _on_part(self, part):
        number, index = part[0], part[1] & wire.PART_INDEX_MASK
        if index == 0:
            self._parts = b""
        elif (number, index) != self._next_part:
            return
        self._next_part = (number, index + 1)
        self._parts += part[2:]
        if part[1] & wire.PART_LAST:
            record = unsealed(self._parts)
            sequence = struct.unpack_from(wire.RECORD_HEAD_FORMAT, record)[3]
            self.records[sequence] = record
            self.order.append(sequence)
            self.arrived.set()

    async def write(self, data):
        await self.ble.write_gatt_char(wire.CONTROL_UUID, data, response=True)

    async def answer(self):
        """(code, tag, error, content) of the next answer."""
        data = unsealed(await asyncio.wait_for(self._answers.get(), 10))
        return (*data[:3], data[3:])

    async def ask(self, code, payload=b""):
        """Write a command; (error, content) of its answer."""
        self._tag = (self._tag + 1) & 0xFF
        await self.write(command(code, payload, self._tag))
        answered, tag, error, content = await self.answer()
        assert (answered, tag) == (code, self._tag)
        return error, content

    async def hello(self, lowest=2, highest=2):
        error, content = await self.ask(wire.COMMAND_HELLO, bytes((lowest, highest)))
        values = dict(
            zip(
                [name for name, _ in wire.HELLO_FIELDS],
                struct.unpack(wire.HELLO_FORMAT, content),
                strict=True,
            )
        )
        return error, values

    async def start_from(self, sequence):
        error, _ = await self.ask(wire.COMMAND_FROM, struct.pack("<I", sequence))
        return error

    async def acknowledge(self, sequence):
        await self.write(command(wire.COMMAND_ACKNOWLEDGE, struct.pack("<I", sequence)))

    async def status(self):
        while True:
            value = bytes(await self.ble.read_gatt_char(wire.STATUS_UUID))
            # A long read may straddle an update.
            if sealed(value[:-4]) == value:
                break
        values = struct.unpack_from(wire.STATUS_FORMAT, value)
        names = [name for name, _ in wire.STATUS_FIELDS]
        return {
            name: item.rstrip(b"\0").decode() if isinstance(item, bytes) else item
            for name, item in zip(names, values, strict=True)
        }
