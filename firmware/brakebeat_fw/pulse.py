"""The ESP32's pulse counter: beside pin interrupts it tells what they lost; for an encoder it is the source itself."""

from array import array

import esp32
from machine import Timer
from micropython import const

from .clock import now_us
from .ticks import MASK, after

_BATCH = const(64)
# One second: a rep may take that long to be worked out.
_SAMPLES = const(2048)
# Seen once a millisecond a start from rest looks like one in motion.
_SAMPLE_HZ = const(2000)
# Where the hardware starts again from 0. Differences are taken modulo this, so that no interrupt has to follow it.
_RANGE = const(32000)
_HALF = const(16000)
# After so long without a sample the fastest encoder may have gone half round the counter.
_BLIND_US = const(160000)
# As in `sources`: where batches take that long the rest waits.
_LONG_US = const(20000)


def beside(pin):
    # type: (Any) -> Any
    """A counter of the pin's falling edges, running. Raises AttributeError where the chip has none."""
    counter = esp32.PCNT(0, min=0, max=_RANGE)
    counter.init(pin=pin, falling=esp32.PCNT.INCREMENT)
    counter.start()
    return counter


def moved(value, before):
    # type: (int, int) -> int
    """From one value of a counter to a later one, across the place where it starts again."""
    return (value - before + _HALF) % _RANGE - _HALF


class CounterSource:
    """A quadrature encoder, counted by hardware, sampled twice a ms, thinned to every ``board.thin``-th count.

    An edge's time lies between two samples where the count would have been if the speed was constant between them.
    ``lost`` counts the times when samples came so late that the counter may have gone round.
    """

    kind = "counter"
    done = False
    lost = 0
    now = staticmethod(now_us)

    def __init__(self, rig, _machine, pins):
        pcnt = esp32.PCNT
        if rig.get("board.sensor") != "quadrature":
            raise ValueError("only for a quadrature encoder")
        self._thin = rig.get("board.thin", 1)
        self._phase = 0
        self._times = array("i", [0] * _BATCH)
        self._steps = array("b", [0] * _BATCH)
        self._count = 0
        # The ring of samples: the handler writes at _head, `pump` reads at _tail.
        self._at = array("i", [0] * _SAMPLES)
        self._moved = array("h", [0] * _SAMPLES)
        self._head = 0
        self._tail = 0
        first, second = pins
        counter = pcnt(0, min=-_RANGE, max=_RANGE)
        up, down, turn = pcnt.INCREMENT, pcnt.DECREMENT, pcnt.REVERSE
        counter.init(channel=0, pin=first, falling=up, rising=down, mode_pin=second, mode_low=turn)
        counter.init(channel=1, pin=second, falling=down, rising=up, mode_pin=first, mode_low=turn)
        self._value = counter.value
        self._last = self._value()
        self._since = now_us()
        self._told = False  # the loss before the next sample is counted
        counter.start()
        self._timer = Timer(1, mode=Timer.PERIODIC, freq=_SAMPLE_HZ, callback=self._sample)

    def _sample(self, _timer):
        """Store time and movement; where the ring is full the next sample has this one's movement too."""
        now = now_us()
        head = self._head
        following = (head + 1) & (_SAMPLES - 1)
        if following != self._tail:
            value = self._value()
            self._at[head] = now
            self._moved[head] = moved(value, self._last)
            self._last = value
            self._head = following

    def pump(self, session):
        """Feed the edges of the samples that wait, then let the session look at its deadlines."""
        began = now_us()
        while self._tail != self._head and after(now_us(), began) <= _LONG_US:
            tail = self._tail
            if self._moved[tail] and after(self._at[tail], self._since) > _BLIND_US and not self._told:
                # What is lost counts before what comes behind it is handed over: it lies in the rep under way.
                self._told = True
                self.lost += 1
                self._flush(session)
                return
            self._told = False
            self._spread(session, self._at[tail], self._moved[tail])
            self._tail = (tail + 1) & (_SAMPLES - 1)
        if self._tail == self._head:
            self._flush(session)
        # What came while that took its time comes first.
        if self._tail == self._head:
            session.poll(now_us())

    def _spread(self, session, now, counts):
        thin = self._thin
        since = self._since
        span_us = after(now, since)
        self._since = now
        if not counts:
            return
        step = 1 if counts > 0 else -1
        counts = abs(counts)
        # Counts from the last sample to the first place where an edge stands, half a count beyond a count's middle.
        at = thin - self._phase if step > 0 else self._phase + 1
        self._phase = (self._phase + step * counts) % thin
        while at <= counts:
            if self._count == _BATCH:
                self._flush(session)
            self._times[self._count] = (since + (2 * at - 1) * span_us // (2 * counts)) & MASK
            self._steps[self._count] = step
            self._count += 1
            at += thin

    def _flush(self, session):
        if self._count:
            session.feed(self._times, self._steps, self._count)
            self._count = 0
