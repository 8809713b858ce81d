"""Where edges come from on a board: pin interrupts that only stamp and store, or what the board has that is better.

Each source has a ``kind``, a row of `boards.SOURCES`: its resolution, its highest rate, how it counts what it lost.
"""

import time
from array import array

from micropython import const

from . import boards
from .clock import now_us
from .edges import EdgeRing
from .storm import Storm
from .ticks import MASK, after

_BATCH = const(64)
# Where batches take that long (reps are worked out in them) the rest waits, so that sounds, radio and watchdog do not.
_LONG_US = const(20000)

# Well beyond what `boards.SOURCES` says that interrupts take.
_STORM_GAP_US = const(100)

# Quadrature: old state * 4 + new state -> step. Both channels changing at once says nothing and gives 0.
_QUADRATURE = array("b", (0, -1, 1, 0, 1, 0, 0, -1, -1, 0, 0, 1, 0, 1, -1, 0))


class IdleSource:
    """No sensor at all: the board runs, answers and says why nothing moves."""

    kind = ""
    done = False
    lost = 0

    now = staticmethod(now_us)

    def pump(self, session):
        """Keep the session's clock going."""
        session.poll(now_us())


class PinSource:
    """Edges by pin interrupt. The handler stamps and stores; `pump` hands over what came, in batches.

    ``lost`` counts edges that found the ring full, those of a storm and, where a pulse counter runs beside, those
    without a handler's call. ``now()`` tells the time in the edges' ticks.
    """

    kind = "interrupt"
    done = False
    lost = 0
    now = staticmethod(now_us)

    def __init__(self, rig, machine, ring=None):
        self.ring = ring or EdgeRing(512)
        self._times = array("i", [0] * _BATCH)
        self._steps = array("b", [0] * _BATCH)
        self._beside = None  # type: Any
        self._value = 0
        self._counted = 0
        self._handled = 0
        self._storm = Storm(_STORM_GAP_US)
        self._left_out = 0
        # Where edges are missing: how many will have been handed over before, and how many they are.
        self._gaps = []  # type: list[tuple[int, int]]
        self._full = 0
        pins = pins_of(rig, machine)
        trigger = machine.Pin.IRQ_FALLING
        sensor = rig.get("board.sensor", "hall")
        if sensor == "hall":
            handler = _hall_handler(self.ring)
        elif sensor == "hall_pair":
            handler = _pair_handler(self.ring, pins[1])
        else:
            handler = _quadrature_handler(self.ring, pins[0], pins[1], rig.get("board.thin", 1))
            trigger |= machine.Pin.IRQ_RISING
        hard = _listen(pins[0], handler, trigger)
        if sensor == "quadrature":
            _listen(pins[1], handler, trigger)
        if not hard:
            self.kind = "scheduled"
            if sensor != "quadrature":
                self._count_beside(pins[0])

    def _count_beside(self, pin):
        try:
            from .pulse import beside, moved

            self._beside = beside(pin)
            self._moved = moved
            self.kind = "witnessed"
        except (ImportError, AttributeError):
            # A chip without a counter: what its queue drops nobody counts.
            pass

    def pump(self, session):
        """Feed the edges that wait, then let the session look at its deadlines."""
        began = now_us()
        while True:
            count = self.ring.take(self._times, self._steps, self._as_far_as_whole())
            if not count:
                break
            self._handled += count
            if self._storm.takes(self._times, count):
                self._left_out += count
                self.lost += count
            else:
                session.feed(self._times, self._steps, count)
            if self._reached_gap() or after(now_us(), began) > _LONG_US:
                # While edges wait it is not now yet, and they are not lost.
                return
        if self._beside:
            self._compare()
        session.poll(now_us())

    def _as_far_as_whole(self):
        # type: () -> int
        """How many edges to take at most, so that none from behind a loss are among them; 0: as many as there are."""
        lost = self.ring.lost
        if lost != self._full:
            # What the full ring refused comes behind all that lies in it.
            self._gaps.append((self._handled + self.ring.waiting, lost - self._full))
            self._full = lost
        return self._gaps[0][0] - self._handled if self._gaps else 0

    def _reached_gap(self):
        # type: () -> bool
        """Whether the next edge comes behind lost ones: those count from now on, before it is handed over."""
        if not self._gaps or self._handled < self._gaps[0][0]:
            return False
        self.lost += self._gaps.pop(0)[1]
        return True

    def _compare(self):
        """What the counter had seen by the last time, a handler has been called for by now, or never will be."""
        # Edges since then hide some of it, but only until there are none for a moment.
        self.lost = max(self.lost, self._counted - self._handled + self._left_out)
        value = self._beside.value()
        self._counted += self._moved(value, self._value)
        self._value = value


def from_rig(rig, machine):
    # type: (dict[str, Any], Any) -> tuple[Any, str]
    """The source that the rig file asks for and what is wrong (empty if nothing is)."""
    if machine is None:
        return IdleSource(), "no pins on this machine: no sensor"
    try:
        pins = pins_of(rig, machine)
    except ValueError as error:
        return IdleSource(), str(error)
    source = rig.get("board.source", "auto")
    if source == "auto":
        source = boards.source_for(rig.get("board.sensor", "hall"))
    trouble = ""
    try:
        if source == "pio":
            if len(pins) > 1 and rig["board.sensor_pin_b"] != rig["board.sensor_pin"] + 1:
                raise ValueError("sensor_pin_b is not sensor_pin + 1")
            from .pio import PioSource

            return PioSource(rig, machine, pins), ""
        if source == "counter":
            from .pulse import CounterSource

            return CounterSource(rig, machine, pins), ""
    except (ImportError, AttributeError, ValueError, OSError) as error:
        trouble = "board.source: %s cannot be used (%s); pin interrupts instead" % (source, error)
    return PinSource(rig, machine), trouble


def pins_of(rig, machine):
    # type: (dict[str, Any], Any) -> list[Any]
    """The sensor's pins as inputs, A before B. Raises ValueError in words."""
    sensor = rig.get("board.sensor", "hall")
    if sensor not in ("hall", "hall_pair", "quadrature"):
        raise ValueError("board.sensor: %r is not one of hall, hall_pair, quadrature" % (sensor,))
    keys = ("board.sensor_pin", "board.sensor_pin_b")
    return [_input(rig, machine, key) for key in keys[: 1 + (sensor != "hall")]]


def _input(rig, machine, key):
    number = rig.get(key)
    if number is None:
        raise ValueError("%s: not set; write the sensor's pin into the rig file" % key)
    try:
        # A hall switch pulls its output low and needs the pull-up.
        return machine.Pin(number, machine.Pin.IN, machine.Pin.PULL_UP)
    except (ValueError, TypeError, OSError) as error:
        raise ValueError("%s: %r cannot be used (%s); choose another pin" % (key, number, error)) from error


def _listen(pin, handler, trigger):
    # type: (Any, Any, int) -> bool
    """Call ``handler`` at the pin's edges; True where the port has hard interrupts."""
    try:
        pin.irq(handler, trigger, hard=True)
        return True
    except (TypeError, ValueError):
        # The others run it from their queue: stamped later, but stamped.
        pin.irq(handler, trigger)
        return False


# The handlers below run as hard interrupts: no allocation, the stamp first, then one store.


def _hall_handler(ring):
    ticks_us = time.ticks_us
    put = ring.put

    def on_edge(_pin):
        put(ticks_us() & MASK, 0)  # type: ignore[operator]

    return on_edge


def _pair_handler(ring, pin_b):
    ticks_us = time.ticks_us
    put = ring.put

    def on_edge(_pin):
        now = ticks_us() & MASK  # type: ignore[operator]
        put(now, 1 if pin_b.value() else -1)

    return on_edge


def _quadrature_handler(ring, pin_a, pin_b, thin):
    ticks_us = time.ticks_us
    put = ring.put
    table = _QUADRATURE
    # Levels, and counts since the last place where an edge stands.
    state = array("i", (pin_a.value() << 1 | pin_b.value(), 0))

    def on_edge(_pin):
        now = ticks_us() & MASK  # type: ignore[operator]
        after = pin_a.value() << 1 | pin_b.value()
        step = table[state[0] << 2 | after]
        state[0] = after
        if step:
            phase = state[1] + step
            state[1] = phase % thin
            if not 0 <= phase < thin:
                put(now, step)

    return on_edge
