"""What a board sends by itself over one connection: records without a gap, live states, beeps, raw edges."""

from __future__ import annotations

import asyncio
import enum

from brakebeat.link.events import CueHeard, Event, LiveArrived
from brakebeat.link.messages import decode_live
from brakebeat.link.raw import RawDecoder
from brakebeat.link.reassembly import Reassembler
from brakebeat.link.records import Record, decode_record
from brakebeat.link.transport import Channel

_MOST_WAITING = 1000


class Mark(enum.Enum):
    """What the queue of arrivals holds beside events and records."""

    END = enum.auto()
    # A part of a record is missing: have it sent again from where the ledger stands.
    ASK_AGAIN = enum.auto()
    READ_STATUS = enum.auto()


class Arrivals:
    """Hears notifications; ``queue`` holds what came of them, in order, to ``Mark.END``.

    Records are left out until they have been asked for (``expect``, ``asked``), and from the first one that is missing
    until they have been asked for again.
    """

    def __init__(self) -> None:
        self.queue: asyncio.Queue[Event | Record | Mark] = asyncio.Queue()
        self._parts = Reassembler()
        self._raw: RawDecoder | None = None
        self._early_raw: list[bytes] = []
        # While records are asked for again, those still on their way are in the wrong order.
        self._asking = True
        # The number that comes next, and a jump over it that was met once: a hole, or did something get lost?
        self._expected = 0
        self._doubted: tuple[int, int] | None = None
        self._cue_count: int | None = None

    def expect(self, sequence: int) -> None:
        """Records are being asked for, from this number on."""
        self._asking = True
        self._expected = sequence

    def asked(self) -> None:
        """The board has begun anew: what comes from now on is in order."""
        self._asking = False

    def read_raw_with(self, decoder: RawDecoder) -> None:
        """How raw edges are to be read, those that have come already among them."""
        self._raw = decoder
        for message in self._early_raw:
            self._on_raw(message)
        self._early_raw.clear()

    def hear(self, channel: Channel, message: bytes) -> None:
        """A notification on any channel but CONTROL."""
        if channel is Channel.REP:
            self._on_record_part(message)
        elif channel is Channel.LIVE:
            self._on_live(message)
        elif channel is Channel.STATUS:
            self.queue.put_nowait(Mark.READ_STATUS)
        else:
            self._on_raw(message)

    def _on_raw(self, message: bytes) -> None:
        if self._raw is None:
            # The first ones may overtake the answer that says how to read them.
            self._early_raw.append(message)
            return
        edges = self._raw.feed(message)
        if edges is not None:
            self.queue.put_nowait(edges)

    def _on_record_part(self, part: bytes) -> None:
        lost = self._parts.lost + self._parts.damaged
        message = self._parts.feed(part)
        record = None if message is None else decode_record(message)
        if message is not None and record is None:
            self._parts.damaged += 1
        if self._asking:
            return
        if self._parts.lost + self._parts.damaged != lost or (record is not None and self._jumps(record)):
            # Something before this one is missing: it has to come first.
            self._asking = True
            self.queue.put_nowait(Mark.ASK_AGAIN)
        elif record is not None:
            self._expected = max(self._expected, record.sequence + 1)
            self.queue.put_nowait(record)

    def _jumps(self, record: Record) -> bool:
        """Whether numbers before this one are missing. A journal may have holes: the same jump twice is one."""
        jump = self._expected, record.sequence
        if record.sequence <= self._expected or jump == self._doubted:
            return False
        self._doubted = jump
        return True

    def _on_live(self, message: bytes) -> None:
        live = decode_live(message)
        if live is None:
            return
        if self._cue_count is not None and live.cue_count != self._cue_count and live.cue_kind is not None:
            self.queue.put_nowait(CueHeard(live.cue_kind, live.cue_rep, live.cue_s))
        self._cue_count = live.cue_count
        # A consumer that sleeps must not fill the memory with what was live long ago.
        if self.queue.qsize() < _MOST_WAITING:
            self.queue.put_nowait(LiveArrived(live))
