"""Finished reps that wait for a host, cues that wait to be announced: bounded, what is lost is counted."""

import struct
from array import array

from . import wire


class RepQueue:
    """Finished reps, oldest first, kept until a host has acknowledged them.

    A host that went away finds them when it comes back. Where the queue is full the oldest goes, counted in
    ``lost``: what was pulled last is worth most. ``handed`` reps from the front are on their way already.
    """

    def __init__(self, capacity=64):
        # type: (int) -> None
        self._slots = [bytearray(wire.REP_SIZE) for _ in range(capacity)]
        self._first = 0
        self.waiting = 0
        self.handed = 0
        self.lost = 0

    def put(self, message):
        # type: (bytes | bytearray | memoryview) -> None
        """Append a copy of a packed rep."""
        if self.waiting == len(self._slots):
            self.lost += 1
            self._drop_first()
        self._slots[(self._first + self.waiting) % len(self._slots)][:] = message
        self.waiting += 1

    def take(self):
        # type: () -> bytearray | None
        """Hand over the oldest rep that is not on its way yet (copy it at once); None if there is none."""
        if self.handed == self.waiting:
            return None
        message = self._slots[(self._first + self.handed) % len(self._slots)]
        self.handed += 1
        return message

    def rewind(self):
        # type: () -> None
        """What was handed over and not acknowledged is to be sent again."""
        self.handed = 0

    def acknowledge(self, index):
        # type: (int) -> None
        """Drop every handed-over rep up to index ``index`` from the front."""
        while self.handed and rep_index(self._slots[self._first]) <= index:
            self._drop_first()

    def _drop_first(self):
        # type: () -> None
        self._first = (self._first + 1) % len(self._slots)
        self.waiting -= 1
        if self.handed:
            self.handed -= 1


_INDEX_OFFSET = wire.field_offset(wire.REP_FIELDS, "index")


def rep_index(message):
    # type: (bytes | bytearray | memoryview) -> int
    """The index of a packed rep."""
    return struct.unpack_from("<I", message, _INDEX_OFFSET)[0]


class CueLine:
    """Cues to be announced one by one. Where it is full the oldest goes; its number is spent all the same."""

    def __init__(self, capacity=8):
        # type: (int) -> None
        self._kinds = array("B", [wire.CUE_NONE] * capacity)
        self._reps = array("H", [0] * capacity)
        self._ms = array("I", [0] * capacity)
        self._put = 0
        self._announced = 0

    @property
    def waiting(self):
        # type: () -> int
        """Cues not announced yet."""
        return self._put - self._announced

    def put(self, kind, rep, t_us):
        # type: (int, int, int) -> None
        """Queue cue ``kind`` of rep ``rep``, sounded at ``t_us`` on the board's clock."""
        # One slot stays with the cue announced last, which every live message repeats.
        if self.waiting == len(self._kinds) - 1:
            self._announced += 1
        slot = self._put % len(self._kinds)
        self._kinds[slot] = kind
        self._reps[slot] = rep & 0xFFFF
        self._ms[slot] = t_us // 1000 & 0xFFFFFFFF
        self._put += 1

    def current(self, step):
        # type: (int) -> tuple[int, int, int, int]
        """(count, kind, rep, ms) of the cue announced last (step 0) or of the next in line (step 1)."""
        number = min(self._announced + step, self._put)
        slot = (number - 1) % len(self._kinds)
        return number & 0xFF, self._kinds[slot], self._reps[slot], self._ms[slot]

    def announced(self):
        # type: () -> None
        """The next cue has gone out."""
        if self.waiting:
            self._announced += 1
