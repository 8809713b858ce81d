"""Records that outlive a power cut: a ring of flash blocks, one record a page, the oldest block erased for the newest.

The first page of a block is its marker, written once its erase is complete: it names the journal and the first
sequence number of the block. So a sequence number tells its page, and nothing is ever written twice.
"""

import binascii
import os
import struct

from micropython import const

from . import ticks, wire
from .clock import now_us

_MARKER = const(255)
_BODY = const(104)  # wire.REP_SIZE
_SEALED = const(112)  # head and body
_RECORD = const(116)  # with the checksum
_MOST_PENDING = const(64)
_TRIES = const(3)
_U32 = const(0xFFFFFFFF)


class Journal:
    """Keeps records (wire.RECORD_HEAD_FORMAT, a body, a CRC-32) under rising sequence numbers.

    region: ``blocks`` of ``pages`` of ``page`` bytes with ``read(block, page, buffer)``, ``program`` alike and
    ``erase(block)``; ``instant`` where an erase stalls nothing. Raises OSError where the region does.
    """

    def __init__(self, region):
        self._region = region
        self._page = bytearray(region.page)
        self._each = region.pages - 1
        self._pending = []  # type: list[tuple[int, bytes]]
        self.id = struct.unpack("<I", os.urandom(4))[0]
        self.boot = 0
        self.next = 0
        self.oldest = 0
        self._limit = 0  # sequence numbers below it have an erased page
        self._wiping = False
        self._spoilt = set()  # type: set[int]  # numbers whose damage is counted
        self.acknowledged = 0  # sequence numbers below it have arrived at a host
        self.lost = 0
        self.overwritten = 0
        self.torn = 0
        self.erases = 0
        self.program_us = 0
        self.erase_us = 0
        self._mount()

    # -- reading -----------------------------------------------------------------------------------------------

    def _load(self, block, page):
        # type: (int, int) -> int
        """Read a page; its kind, 0 where no whole record stands there, -1 where it is blank."""
        data = self._page
        self._region.read(block, page, data)
        if data == b"\xff" * len(data):
            return -1
        crc = struct.unpack_from("<I", data, _SEALED)[0]
        return data[0] if binascii.crc32(memoryview(data)[:_SEALED]) & _U32 == crc else 0

    def _mount(self):
        each = self._each
        bases = {}  # type: dict[int, int]
        newest = -1
        damaged = []
        for block in range(self._region.blocks):
            kind = self._load(block, 0)
            if kind != _MARKER:
                if not kind:
                    damaged.append(block)
                continue
            _, _, boot, base, name, erases, acknowledged = struct.unpack_from("<BBHIIII", self._page)
            if base // each % self._region.blocks != block:
                continue
            bases[base] = name
            self.boot = max(self.boot, boot + 1)
            self.erases = max(self.erases, erases)
            if base > newest:
                newest = base
                self.id = name
                self.acknowledged = acknowledged
        # Markers of another journal that lay here before say nothing.
        bases = {base: 0 for base in bases if bases[base] == self.id}
        if not bases:
            # The first power-up of all: some room at once, nobody can be pulling yet.
            self._make_room()
            return
        for _ in damaged:
            # Each may be what the next one lies beside.
            for block in damaged:
                self._adopt(block, bases)
        self.oldest = min(bases)
        self.next = self._end(bases, max(bases))
        base = self.next - self.next % each
        while base in bases:
            base += each
        self._limit = base

    def _adopt(self, block, bases):
        # type: (int, dict[int, int]) -> None
        """A block whose marker is spoilt keeps its records, where their numbers go on from a neighbour's."""
        each = self._each
        for page in range(1, each + 1):
            if self._load(block, page) > 0:
                base = struct.unpack_from("<I", self._page, 4)[0] // each * each
                beside = base - each in bases or base + each in bases
                if beside and base not in bases and base // each % self._region.blocks == block:
                    bases[base] = self.id
                    self.torn += 1
                return

    def _end(self, bases, base):
        # type: (dict[int, int], int) -> int
        """The sequence number behind the last page in use; ``base``: of the newest block."""
        end = base
        blank = True
        while base in bases:
            end = base if blank else end
            block = base // self._each % self._region.blocks
            for page in range(self._each, 0, -1):
                kind = self._load(block, page)
                if blank and kind >= 0:
                    blank = False
                    end = base + page
                    if not kind:
                        self._count_damage(end - 1)
                if kind > 0:
                    self.boot = max(self.boot, struct.unpack_from("<H", self._page, 2)[0] + 1)
                    return end
            base -= self._each
        return end

    def get(self, sequence):
        # type: (int) -> memoryview | None
        """The sealed record with that number, valid until the next call; None where there is none."""
        block = sequence // self._each % self._region.blocks
        kind = self._load(block, sequence % self._each + 1)
        if kind <= 0 or kind == _MARKER or struct.unpack_from("<I", self._page, 4)[0] != sequence:
            if kind >= 0:
                self._count_damage(sequence)
            return None
        return memoryview(self._page)[:_RECORD]

    def _count_damage(self, sequence):
        # type: (int) -> None
        """A record that should be there is not whole: counted once, however often it is asked for."""
        if sequence not in self._spoilt:
            self._spoilt.add(sequence)
            self.torn += 1

    # -- writing -----------------------------------------------------------------------------------------------

    def put(self, kind, body):
        # type: (int, bytes | bytearray) -> None
        """Queue a record of up to REP_SIZE bytes; `service` writes it."""
        if len(self._pending) == _MOST_PENDING:
            self._pending.pop(0)
            self.lost += 1
        self._pending.append((kind, bytes(body)))

    def go_on_from(self, before):
        # type: (Journal) -> None
        """Take over what another journal could not write, and what it counted."""
        self._pending = before._pending
        self.boot = before.boot
        self.lost = before.lost
        self.overwritten = before.overwritten
        self.torn = before.torn
        self.program_us = before.program_us
        self.erase_us = before.erase_us

    @property
    def waiting(self):
        # type: () -> int
        """Records that no host has acknowledged."""
        return self.next - max(self.acknowledged, self.oldest) + len(self._pending)

    def service(self, at_rest):
        # type: (bool) -> None
        """Write one record, or erase one block where it is time. at_rest: a long stall does no harm now."""
        if self._pending and self.next < self._limit:
            if self._append(*self._pending[0]):
                self._pending.pop(0)
        elif at_rest or self._region.instant:
            self._make_room()

    def _append(self, kind, body):
        for _ in range(_TRIES):
            if self.next == self._limit:
                return False
            sequence = self.next
            self.next += 1
            block = sequence // self._each % self._region.blocks
            self._program(block, sequence % self._each + 1, kind, sequence, body)
            if self.get(sequence):
                return True
            self._count_damage(sequence)
        raise OSError("journal: what was written cannot be read back")

    def _program(self, block, page, kind, sequence, body):
        data = self._page
        data[:] = b"\xff" * len(data)
        struct.pack_into(wire.RECORD_HEAD_FORMAT, data, 0, kind, len(body), self.boot & 0xFFFF, sequence)
        data[8:_SEALED] = body + bytes(_BODY - len(body))
        struct.pack_into("<I", data, _SEALED, binascii.crc32(memoryview(data)[:_SEALED]) & _U32)
        started = now_us()
        self._region.program(block, page, data)
        self.program_us = max(self.program_us, ticks.after(now_us(), started))

    def _make_room(self):
        """Erase the block behind the erased ones, where too few are erased."""
        blocks = self._region.blocks
        ahead = self._limit // self._each - self.next // self._each
        if ahead >= (blocks if self._wiping else max(blocks // 4, 1) + 1):
            self._wiping = False
            return
        base = self._limit
        block = base // self._each % blocks
        end = base - (blocks - 1) * self._each
        if self.oldest < end:
            self.overwritten += max(end - max(self.oldest, self.acknowledged), 0)
            self.oldest = end
        self.erases += not block
        started = now_us()
        self._region.erase(block)
        self.erase_us = max(self.erase_us, ticks.after(now_us(), started))
        body = struct.pack("<III", self.id, self.erases, min(self.acknowledged, self.next))
        self._program(block, 0, _MARKER, base, body)
        if self._load(block, 0) != _MARKER:
            raise OSError("journal: a block cannot be written")
        self._limit = base + self._each

    def wipe(self):
        # type: () -> None
        """Forget every record; sequence numbers go on. The work is done by `service`."""
        self.next += -self.next % self._each
        self._limit = max(self._limit, self.next)
        self.acknowledged = self.oldest = self.next
        self._wiping = True
