"""Where edges come from on a board: pin interrupts that only stamp and store, taken up in the main loop."""

import time
from array import array

from micropython import const

from .clock import now_us
from .edges import EdgeRing
from .ticks import MASK

_BATCH = const(64)

# Quadrature: old state * 4 + new state -> step. Both channels changing at once says nothing and gives 0.
_QUADRATURE = array("b", (0, -1, 1, 0, 1, 0, 0, -1, -1, 0, 0, 1, 0, 1, -1, 0))


class IdleSource:
    """No sensor at all: the board runs, answers and says why nothing moves."""

    done = False
    lost = 0

    now = staticmethod(now_us)

    def pump(self, session):
        """Keep the session's clock going."""
        session.poll(now_us())


class PinSource:
    """Edges by pin interrupt. The handler stamps and stores; `pump` hands over what came, in batches.

    ``lost`` counts edges that found the ring full, ``now()`` tells the time in the edges' ticks.
    """

    done = False
    lost = 0
    now = staticmethod(now_us)

    def __init__(self, rig, machine, ring=None):
        self.ring = ring or EdgeRing(512)
        self._times = array("i", [0] * _BATCH)
        self._steps = array("b", [0] * _BATCH)
        sensor = rig.get("board.sensor", "hall")
        if sensor == "hall":
            pin = _input(rig, machine, "board.sensor_pin")
            _listen(machine, pin, _hall_handler(self.ring), machine.Pin.IRQ_FALLING)
        elif sensor in ("hall_pair", "quadrature"):
            pin_a = _input(rig, machine, "board.sensor_pin")
            pin_b = _input(rig, machine, "board.sensor_pin_b")
            if sensor == "hall_pair":
                _listen(machine, pin_a, _pair_handler(self.ring, pin_b), machine.Pin.IRQ_FALLING)
            else:
                handler = _quadrature_handler(self.ring, pin_a, pin_b)
                for pin in (pin_a, pin_b):
                    _listen(machine, pin, handler, machine.Pin.IRQ_FALLING | machine.Pin.IRQ_RISING)
        else:
            raise ValueError("board.sensor: %r is not one of hall, hall_pair, quadrature" % (sensor,))

    def pump(self, session):
        """Feed every edge that waits, then let the session look at its deadlines."""
        count = self.ring.take(self._times, self._steps)
        while count:
            session.feed(self._times, self._steps, count)
            count = self.ring.take(self._times, self._steps)
        self.lost = self.ring.lost
        session.poll(now_us())


def from_rig(rig, machine):
    # type: (dict[str, object], object | None) -> tuple[object, str]
    """The source that the rig file asks for and what is wrong (empty if nothing is)."""
    if machine is None:
        return IdleSource(), "no pins on this machine: no sensor"
    try:
        return PinSource(rig, machine), ""
    except ValueError as error:
        return IdleSource(), str(error)


def _input(rig, machine, key):
    number = rig.get(key)
    if number is None:
        raise ValueError("%s: not set; write the sensor's pin into the rig file" % key)
    try:
        # A hall switch pulls its output low and needs the pull-up.
        return machine.Pin(number, machine.Pin.IN, machine.Pin.PULL_UP)
    except (ValueError, TypeError, OSError) as error:
        raise ValueError("%s: %r cannot be used (%s); choose another pin" % (key, number, error)) from error


def _listen(machine, pin, handler, trigger):
    try:
        pin.irq(handler, trigger, hard=True)
    except TypeError:
        # Ports without hard interrupts run the handler from their queue: stamped later, but stamped.
        pin.irq(handler, trigger)


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


def _quadrature_handler(ring, pin_a, pin_b):
    ticks_us = time.ticks_us
    put = ring.put
    table = _QUADRATURE
    state = array("b", (pin_a.value() << 1 | pin_b.value(),))

    def on_edge(_pin):
        now = ticks_us() & MASK  # type: ignore[operator]
        after = pin_a.value() << 1 | pin_b.value()
        step = table[state[0] << 2 | after]
        state[0] = after
        if step:
            put(now, step)

    return on_edge
