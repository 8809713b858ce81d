"""The ring between the interrupt handler, which only stores, and the main loop, which thinks."""

from array import array


class EdgeRing:
    """Edges that wait for the main loop. One writer (`put`, interrupt-safe) and one reader (`take`).

    capacity: a power of two. An edge that finds the ring full is counted in ``lost``, never overwritten.
    """

    def __init__(self, capacity=256):
        # type: (int) -> None
        if capacity < 2 or capacity & (capacity - 1):
            raise ValueError("edge ring: the capacity must be a power of two, not %d" % capacity)
        self._wrap = capacity - 1
        self._times = array("i", [0] * capacity)
        self._steps = array("b", [0] * capacity)
        self._head = 0
        self._tail = 0
        self.lost = 0

    def put(self, t_us30, step):
        # type: (int, int) -> None
        """Store one edge: 30-bit ticks and +1, -1 or 0. Allocates nothing."""
        head = self._head
        following = (head + 1) & self._wrap
        if following == self._tail:
            self.lost += 1
            return
        self._times[head] = t_us30
        self._steps[head] = step
        self._head = following

    @property
    def waiting(self):
        # type: () -> int
        """Edges that lie in it."""
        return (self._head - self._tail) & self._wrap

    def take(self, times, steps, most=0):
        # type: (array[int], array[int], int) -> int
        """Move what waits (no more than ``most``, if given) into ``times`` (array 'i') and ``steps`` (array 'b').

        Returns how many edges.
        """
        tail = self._tail
        head = self._head
        wrap = self._wrap
        room = min(len(times), most or len(times))
        count = 0
        while tail != head and count < room:
            times[count] = self._times[tail]
            steps[count] = self._steps[tail]
            tail = (tail + 1) & wrap
            count += 1
        self._tail = tail
        return count
