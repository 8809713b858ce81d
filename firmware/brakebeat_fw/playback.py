"""Plays a pulse recording into the firmware as if its wheel turned now: for a computer, not for a board.

The file is read as it is needed, in bounded memory. Time steps through the recording millisecond by
millisecond whatever the computer does, so that two runs over one file give the same reps and cues.
"""

from array import array

from .clock import now_us
from .ticks import MASK, after

_BATCH = 64
_STEP_US = 1000
# How much of the recording one call may catch up: other tasks want to run too.
_MOST_STEPS = 100
_TAIL_US = 12000000


class PlaybackSource:
    """Edges of the recording ``path``, ``speed`` times as fast as they were pulled.

    Held at the start until `release` is called. After the last edge time goes on, so that the wheel is seen
    to rest; ``ended`` is true once that has been long enough. ``trouble`` says what stopped it early, if
    anything did. Like a sensor it is never ``done``: the board stays on and answers.
    """

    kind = "replay"
    done = False
    lost = 0

    def __init__(self, path, speed=1.0):
        # type: (str, float) -> None
        self._file = open(path)  # noqa: SIM115 - stays open while it plays
        self._edges = _Edges(self._file)
        self._times = array("i", [0] * _BATCH)
        self._steps = array("b", [0] * _BATCH)
        self._speed = speed
        self._tail_us = _TAIL_US
        self._held = True
        self._last_us = 0
        self._owed_us = 0
        # The recording's clock, unwrapped, on whole milliseconds; the first step ends before the first edge.
        first_us = self._edges.time_us or 0
        self._clock_us = first_us - first_us % _STEP_US - _STEP_US
        self.pulses = 0
        self.ended = False

    @property
    def trouble(self):
        # type: () -> str
        """What is wrong with the file (empty if nothing is)."""
        return self._edges.trouble

    def release(self):
        # type: () -> None
        """Start playing."""
        self._held = False
        self._last_us = now_us()

    def now(self):
        # type: () -> int
        """The recording's time, 30-bit ticks."""
        return self._clock_us & MASK

    def pump(self, session):
        """Advance to where the recording should be by now, a millisecond of it at a time."""
        if self._held:
            return
        now = now_us()
        self._owed_us += int(after(now, self._last_us) * self._speed)
        self._last_us = now
        for _ in range(_MOST_STEPS):
            if self._owed_us < _STEP_US:
                return
            self._owed_us -= _STEP_US
            self._step(session)

    def _step(self, session):
        self._clock_us += _STEP_US
        edges = self._edges
        count = 0
        while edges.time_us is not None and edges.time_us < self._clock_us:
            self._times[count] = edges.time_us & MASK
            self._steps[count] = edges.step
            count += 1
            edges.next()
            if count == _BATCH:
                self._feed(session, count)
                count = 0
        if count:
            self._feed(session, count)
        session.poll(self._clock_us & MASK)
        if edges.time_us is None and not self.ended:
            self._tail_us -= _STEP_US
            if self._tail_us <= 0:
                self.ended = True
                self._file.close()

    def _feed(self, session, count):
        session.feed(self._times, self._steps, count)
        self.pulses += count


class _Edges:
    """The edges of a recording's text one by one: ``time_us`` (unwrapped, None at the end) and ``step``."""

    def __init__(self, lines):
        self._lines = lines
        self._line = 0
        self._wrap = 0
        self._wraps_us = 0
        self._raw_us = 0
        self.time_us = None
        self.step = 0
        self.trouble = ""
        self._header()
        self.next()

    def _header(self):
        while True:
            line = self._read()
            if line[:1] != "#":
                return
            key, _, value = line[1:].partition(":")
            if key.strip() == "ticks_wrap":
                self._wrap = int(value)

    def _read(self):
        self._line += 1
        return self._lines.readline()

    def next(self):
        # type: () -> None
        """Go to the next edge. A line that is none ends the recording and is told in ``trouble``."""
        line = self._read()
        self.time_us = None
        if not line.strip():
            return
        try:
            first, second = line.split(",")
            raw_us = int(first)
            self.step = int(second)
        except ValueError:
            self.trouble = "line %d is no edge: %s" % (self._line, line.strip()[:20])
            return
        if raw_us < self._raw_us:
            self._wraps_us += self._wrap
        self._raw_us = raw_us
        self.time_us = raw_us + self._wraps_us
