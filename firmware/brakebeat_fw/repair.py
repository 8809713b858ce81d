"""Second thoughts about a finished stretch: what the hot path could not know without the edges that came after.

Works on the stretch buffer (times, then path indices in its second half) away from the turnaround, where one
interval resembles the next. Once a rep.
"""

from . import ticks

# An interval this many times what its neighbours lead one to expect has swallowed a magnet.
_MISSED_LOW = 1.6
# Two intervals whose sum lies in this range of one have a spurious edge between them.
_SUM_LOW = 0.75
_SUM_HIGH = 1.3


class Repair:
    """Mends the places from ``begin`` to before ``end`` of a stretch's buffer; what is behind moves along.

    capacity: offset of the path indices in the buffer.
    """

    def __init__(self, stretch, capacity, begin, end):
        # type: (Any, int, int, int) -> None
        self._stretch = stretch
        self._buffer = stretch.buffer
        self._capacity = capacity
        self.begin = max(2, begin)
        self.end = end
        self.count = stretch.count
        self.removed = 0  # spurious edges taken out
        self.inserted = 0  # spacings of missed magnets put in
        self.dropped = 0  # edges left out because their time is off

    def run(self):
        # type: () -> None
        """Take out spurious edges, put in missed magnets, leave out displaced edges."""
        k = self.begin
        while k < self.end - 2:
            if self._is_spurious(k):
                self._remove(k, self._moved(k))
                self.removed += 1
            else:
                self._insert_missed(k)
                k += 1
        self._drop_displaced()

    def _moved(self, place):
        # type: (int) -> int
        return self._buffer[self._capacity + place] - self._buffer[self._capacity + place - 1]

    def _is_spurious(self, k):
        # type: (int) -> bool
        first = ticks.after(self._buffer[k], self._buffer[k - 1])
        both = ticks.after(self._buffer[k + 1], self._buffer[k - 1])
        around = (self._stretch.interval(k - 1) * self._stretch.interval(k + 2)) ** 0.5 * self._moved(k)
        return _SUM_LOW * around < both < _SUM_HIGH * around and min(first, both - first) < 0.7 * around

    def _insert_missed(self, k):
        # type: (int) -> None
        before = self._stretch.interval(k - 1)
        behind = self._stretch.interval(k + 1)
        usual = (before * behind) ** 0.5 * self._moved(k)
        took = ticks.after(self._buffer[k], self._buffer[k - 1])
        if took <= _MISSED_LOW * usual or not 0.6 < before / behind < 1.7:
            return
        extra = int(took / usual + 0.5) - 1
        if 0.7 < took / ((extra + 1) * usual) < 1.35:
            for place in range(k, self.count):
                self._buffer[self._capacity + place] += extra
            self.inserted += extra

    def _drop_displaced(self):
        # type: () -> None
        """A stray edge shortly before a true one is taken for it: the index is right, the time is not."""
        usual = 0.0
        first = max(2, min(self.begin, self.end - 20))
        for k in range(first, self.end - 2):
            usual += min(abs(self._stray(k)), 0.05)
        if self.end < 12:
            return
        limit = max(0.02, 5.0 * usual / (self.end - 2 - first))
        k = self.begin
        while k < self.end - 2:
            stray = abs(self._stray(k))
            following = abs(self._stray(k + 1)) if k < self.end - 3 else 0.0
            if stray > limit and stray > following and stray > abs(self._stray(k - 1)):
                self._remove(k, 0)
                self.dropped += 1
                k += 1
            k += 1

    def _stray(self, k):
        # type: (int) -> float
        """How far edge ``k`` is from the cubic through its four neighbours, in spacings; 0 where they are uneven."""
        if k < 2 or k > self.end - 3:
            return 0.0
        step = self._moved(k)
        for place in (k - 1, k + 1, k + 2):
            if self._moved(place) != step:
                return 0.0
        buffer = self._buffer
        here = buffer[k]
        across = ticks.after(buffer[k + 1], buffer[k - 1])
        pace = across / 2 / step
        late = [ticks.after(buffer[k + a], here) - pace * self._stretch.offset(k + a) for a in (-2, -1, 1, 2)]
        own = pace * self._stretch.offset(k)
        near = late[1] + late[2] + 2 * own
        far = late[0] + late[3] + 2 * own
        # Where the pace itself changes much from edge to edge, a cubic is no judge.
        trust = max(0.0, 1.0 - 8.0 * abs(near) / max(1, across))
        return trust * (far - 4 * near) / 3.0 / max(1, across) * step

    def _remove(self, place, shorter):
        # type: (int, int) -> None
        """Take an edge out; the path behind it becomes ``shorter`` spacings shorter."""
        buffer = self._buffer
        for k in range(place, self.count - 1):
            buffer[k] = buffer[k + 1]
            buffer[self._capacity + k] = buffer[self._capacity + k + 1] - shorter
        self.count -= 1
        self.end -= 1
