"""Cues that wait to be announced, one by one."""

from array import array

from micropython import const

_NONE = const(255)


class CueLine:
    """Cues to be announced one by one. Where it is full the oldest goes; its number is spent all the same."""

    def __init__(self, capacity=8):
        # type: (int) -> None
        self._kinds = array("B", [_NONE] * capacity)
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
