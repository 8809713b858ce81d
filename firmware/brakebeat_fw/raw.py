"""Raw edges on their way to a host, and turns of the wheel for a cycling display: taps the edges before the session."""

import struct
from array import array

from micropython import const

from . import wire
from .edges import EdgeRing

_BATCH = const(64)


class Tap:
    """Stands in front of the session where someone wants edges: feeds it and keeps a copy.

    session: the one fed, exchanged from outside. source: counts in ``lost`` what it lost, tells ``now()``. always:
    edges are wanted without a stream too. ``turns`` counts ``pulses_per_rev`` edges each, ``turn_ticks`` is when the
    last one was complete.
    """

    def __init__(self, session, source, always):
        self.session = session
        self._source = source
        self.always = always
        self.on = False
        self.number = 0
        self._ring = EdgeRing(2)
        self._times = array("i", [0] * _BATCH)
        self._steps = array("b", [0] * _BATCH)
        self._count = 0
        self._used = 0
        self._next = 0
        self._lost_before = 0
        self._earlier = 0
        self._edges = 0
        self.turns = 0
        self.turn_ticks = 0

    def start(self):
        # type: () -> None
        """Begin a stream. Memory for it is taken at the first one."""
        self.stop()
        self._ring = EdgeRing(1024)
        self.number = self._count = self._used = 0
        self._lost_before = self._source.lost
        self.on = True

    def stop(self):
        # type: () -> None
        """End it and give the memory back."""
        if self.on:
            self._earlier += self.lost
        self.on = False
        self._ring = EdgeRing(2)

    @property
    def lost(self):
        # type: () -> int
        """Edges of this stream that were lost, before the session or behind it."""
        return self._ring.lost + self._source.lost - self._lost_before

    @property
    def all_lost(self):
        # type: () -> int
        """The same, of every stream since power-up."""
        return self._earlier + self.on * self.lost

    def poll(self, now_ticks):
        # type: (int) -> None
        """As the session's."""
        self.session.poll(now_ticks)

    def feed(self, times, steps, count):
        # type: (array[int], array[int], int) -> None
        """As the session's, which uses the arrays as scratch: so it is fed last."""
        self._edges += count
        if self._edges >= self.session.rig["pulses_per_rev"]:
            self.turns += self._edges // self.session.rig["pulses_per_rev"]
            self._edges %= self.session.rig["pulses_per_rev"]
            self.turn_ticks = times[count - 1]
        if self.on:
            put = self._ring.put
            for at in range(count):
                put(times[at], steps[at])
        self.session.feed(times, steps, count)

    def message(self, room, due):
        # type: (int, bool) -> bytearray | None
        """The notification of up to ``room`` bytes that is next; None where no edge waits and none is ``due``.

        Asking again gives the same edges until `sent`.
        """
        if self._used == self._count:
            self._used = 0
            self._count = self._ring.take(self._times, self._steps)
        if not self._count and not due:
            return None
        times = self._times
        last = times[self._used] if self._count else self._source.now()
        first_us = self.session.now_us(last) & 0xFFFFFFFF
        coded = bytearray(
            struct.pack(wire.RAW_HEAD_FORMAT, self.number & 0xFFFF, self.lost & 0xFFFF, first_us)
        )
        at = self._used
        # No code is longer than 5 bytes: 30 bits of time, 2 of sense.
        while at < self._count and len(coded) <= room - 5:
            code = ((times[at] - last) & 0x3FFFFFFF) << 2 | self._steps[at] & 3
            last = times[at]
            while code > 127:
                coded.append(code & 127 | 128)
                code >>= 7
            coded.append(code)
            at += 1
        self._next = at
        return coded

    def sent(self):
        # type: () -> None
        """The last message went out."""
        self._used = self._next
        self.number += 1
