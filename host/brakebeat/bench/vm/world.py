"""On the VM: time that nobody waits for, and a sensor's pin, for a program that must not notice the difference."""

# Notifications that leave the radio's queue in a millisecond.
_LEAVE = 1


class World:
    """Time, the sensor's pin, what lies in the radio's queue."""

    def __init__(self):
        self.now_us = 0
        # Where the board's counter stands when the world begins.
        self.first_ticks = 0
        self.handler = None
        self.edges = []
        self.next_edge = 0
        self.interrupts = 0
        self.queue = 0

    def ticks_us(self):
        """The board's counter, as most ports have it."""
        return self.now_us + self.first_ticks & 0x3FFFFFFF

    def ticks_ms(self):
        """The same in milliseconds."""
        return (self.now_us + self.first_ticks) // 1000 & 0x3FFFFFFF

    def sleep(self, duration_s):
        """The world goes on meanwhile."""
        self.pass_us(int(duration_s * 1000000))

    def pass_us(self, duration_us):
        """Time goes on; edges come at their own moments, whatever the program does."""
        end_us = self.now_us + duration_us
        edges = self.edges
        while self.next_edge < len(edges) and edges[self.next_edge] <= end_us:
            self.now_us = max(self.now_us, edges[self.next_edge])
            self.next_edge += 1
            self.interrupts += 1
            self.handler(None)
        self.queue = max(0, self.queue - duration_us * _LEAVE // 1000)
        self.now_us = end_us


# There is one.
world = World()


class Pin:
    """The sensor's pin on a port with hard interrupts."""

    IN = PULL_UP = IRQ_FALLING = IRQ_RISING = 1

    def __init__(self, *_arguments):
        pass

    def irq(self, handler, _trigger, hard=False):
        """The world calls it at each edge."""
        world.handler = handler

    def value(self):
        """Nobody presses anything."""
        return 1


class Machine:
    """`machine`, as far as a board without a sounder needs it."""

    Pin = Pin


def noise(at, duration_us, gap_us, seed):
    """Edges from ``at`` on without any rhythm, as a loose plug makes them: gaps even between 1 us and twice gap_us."""
    end = at + duration_us
    state = seed or 1
    edges = []
    while True:
        state = state * 1103515245 + 12345 & 0x7FFFFFFF
        at += 1 + (state >> 8) % (2 * gap_us - 1)
        if at >= end:
            return edges
        edges.append(at)
