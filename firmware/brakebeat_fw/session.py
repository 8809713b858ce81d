"""A session: runs the hot path over batches of edges, tells noise from a wheel, tells the time, and what is due."""

import struct
from array import array

from micropython import const

from . import detector, ticks, watchdog
from .stretch import CAPACITY
from .strokes import BAD_EDGES, CONCENTRIC, ECCENTRIC, IDLE, Strokes  # noqa: F401

# Places in the detector's state, as they stand there (a const with an underscore exists in its own file only).
_T_LAST = const(0)
_SEEN = const(1)
_P1 = const(2)
_LEAST_FROM_REST = const(5)
_REST_GAP = const(6)
_BOUNCED = const(7)
_MISSED = const(8)
_SPURIOUS = const(9)
_COUNT = const(11)
_STRIDE = const(14)
_FASTEST = const(15)
_SLOW_TENTHS = const(19)
_CAPACITY = const(20)
_THIN = const(22)
_SENSE = const(23)
_S1 = const(25)
_BASE_STRIDE = const(26)
_ODDS = const(27)
_CONFIRM = const(29)
_USED = const(30)
_GIVEN = const(31)
_EVENT_TURN = const(1)
_EVENT_FULL = const(2)
_REVERSED = const(64)

_TURN = const(6.2831853)
# Lines a turn that a finer sensor is thinned to, about.
_LINES = const(24)
# No source tells a time that much earlier than the one before.
_LEAP = const(-1000000)
# What an edge says for noise that no wheel can have made; an accepted one says 1 against it.
_ODD = const(4)
# From so much on there is noise. Dirty recordings come to half of it, noise passes it within some 20 to 60 edges.
_NOISY = const(40)
# Then no edge is looked at for so long, us; what comes later has to convince less to be noise again.
_NOISE_US = const(400000)
# Edges that may come while a turnaround is read.
_HELD_MOST = const(64)
# ticks.MASK, since polls come a thousand times a second.
_MASK = const(0x3FFFFFFF)
# A poll looks so often at least, microseconds.
_AHEAD_US = const(262144)


class Session(Strokes):
    """Counts reps. ``feed`` edges as they come and ``poll`` every millisecond while ``busy``.

    on_rep(record): a finished rep, packed as ``wire.REP_FIELDS``; the bytearray is reused, copy it.
    on_cue(kind, rep_index, t_us): a sound to make now; t_us on the unwrapped clock.
    """

    def __init__(self, rig, on_rep, on_cue):
        # type: (dict[str, Any], Any, Any) -> None
        super().__init__(rig, on_rep, on_cue)
        self._edges = 0  # raw edges so far, to find the edge that a calibrated zero names
        self._ahead_us = 0  # how near that is; 0 before the first poll
        # Edges that have come since a turnaround that is being read.
        self._held_times = array("i", [0] * _HELD_MOST)
        self._held_steps = array("b", [0] * _HELD_MOST)
        self._held = 0
        self._prepare(rig["pulses_per_rev"])

    def _prepare(self, pulses):
        # type: (int) -> None
        state = self.state
        stride = max(1, pulses // _LINES)
        state[_STRIDE] = state[_BASE_STRIDE] = stride
        state[_THIN] = stride
        state[_CAPACITY] = CAPACITY
        state[_SLOW_TENTHS] = 18 if pulses <= 2 else 25
        state[_CONFIRM] = max(4, min(12, pulses + 1))
        state[_REST_GAP] = 500000 + 700000 // pulses
        state[_FASTEST] = detector.DT_MAX
        # What the wheel can physically do, rad/s^2: 6 kN on the strap, or a light wheel's where that is unknown.
        most = 3000.0
        wheel = self.reps.wheel
        if wheel.inertia_kg_m2 is not None and wheel.radius_m is not None:
            most = max(200.0, min(most, 6000.0 * wheel.radius_m / wheel.inertia_kg_m2))
        least_us = (2 * 0.875 * self.spacing_rad / most) ** 0.5 * 1e6
        state[_LEAST_FROM_REST] = max(8, min(0x3FFF, int(least_us) >> 4))

    @property
    def bounced(self):
        # type: () -> int
        """Edges left out as bounces."""
        return self.state[_BOUNCED]

    @property
    def missed(self):
        # type: () -> int
        """Magnets that passed without an edge."""
        return self.state[_MISSED]

    @property
    def spurious(self):
        # type: () -> int
        """Edges left out as noise."""
        return self.state[_SPURIOUS]

    def go_on_from(self, counts):
        # type: (tuple[int, ...]) -> None
        """Count on from (reps, overrun, incomplete, bounced, missed, spurious)."""
        state = self.state
        self.reps.count, self.overrun, self.incomplete, state[_BOUNCED], state[_MISSED], state[_SPURIOUS] = (
            counts
        )
        self.gap_is_over()

    def gap_is_over(self):
        # type: () -> None
        """Edges lost up to now belong to no rep that is to come."""
        self._overrun_before = self.overrun

    def leave_out(self):
        # type: () -> None
        """Give up what is under way and go on: there was no memory to work it out."""
        if self._job:
            self._job = None
            self.incomplete += 1
        self._give_up()

    def learnt_magnets(self, first):
        # type: (int) -> bytes
        """What MAGNETS answers: how many there are, reps that taught, offsets of five from ``first`` on (1e-4 rad)."""
        table = self.stretch.table
        offsets = [int(offset * self.spacing_rad * 10000) for offset in table.offsets[first : first + 5]]
        return struct.pack("<BB%dh" % len(offsets), table.magnets, min(table.reps, 255), *offsets)

    @property
    def busy(self):
        # type: () -> bool
        """True while the wheel moves or may be moving: ``poll`` every millisecond."""
        return self.state[_COUNT] != 0

    @property
    def speed_milli_rad_s(self):
        # type: () -> int
        """Speed of the last interval, thousandths of rad/s; 0 at rest."""
        if self.state[_COUNT] < 2 or not self.state[_P1]:
            return 0
        return int(self.spacing_rad * 1e9 / self.state[_P1])

    # -- what the main loop calls ------------------------------------------------------------------------------

    def poll(self, now_ticks):
        # type: (int) -> None
        """Tell the time, 30-bit ticks; at least every 4 minutes."""
        # This runs a thousand times a second: the rest only when something may be due.
        self._now = now_ticks
        if 0 < (self._due - now_ticks) & _MASK <= self._ahead_us:
            return
        if not self._ahead_us:
            self._ahead_us = _AHEAD_US
            self._clock_us = self._clock_ticks = now_ticks
        step = ticks.after(now_ticks, self._clock_ticks)
        if step > 0:
            self._clock_us += step
            self._clock_ticks = now_ticks
        elif step < _LEAP:
            self._leapt(now_ticks)
        self._due = (now_ticks + _AHEAD_US) & ticks.MASK
        if self._reading:
            # No cue is due right behind a turnaround, and whether the wheel rests the edges tell that wait.
            self._due = now_ticks
            self._read_on()
            return
        if self.state[_COUNT]:
            self._look(now_ticks)
        if self._job:
            # Cues come first; the next poll goes on.
            self._due = now_ticks
            try:
                self._go_on()
            except BAD_EDGES:
                self._drop_stretch(self.stretch.count)

    def _look(self, now_ticks):
        # type: (int) -> None
        """Do what is due in a stretch: a timing sound, or to see that the wheel has come to rest."""
        state = self.state
        cue = self.cue
        watched = self.phase == ECCENTRIC
        if watched and cue.look is not None and ticks.after(now_ticks, cue.look) >= 0:
            try:
                kind = cue.due(now_ticks)
                if kind is not None:
                    self._sound(kind)
            except BAD_EDGES:
                cue.disarm()
        rest = max(state[_REST_GAP], min(state[_S1] * 5, state[_REST_GAP] * 4) >> 1) + 1
        if rest <= (now_ticks - state[_T_LAST]) & ticks.MASK < ticks.HALF:
            try:
                self._came_to_rest()
            except BAD_EDGES:
                self._drop_stretch(self.stretch.count)
        left = min(_AHEAD_US, ticks.after(state[_T_LAST], now_ticks) + rest)
        if watched and cue.look is not None:
            left = min(left, ticks.after(cue.look, now_ticks))
        self._due = (now_ticks + max(0, left)) & ticks.MASK

    def _leapt(self, now_ticks):
        # type: (int) -> None
        """The counter has leapt back, or so far ahead that it looks so: the clock goes on from where it stood."""
        self._clock_ticks = now_ticks
        if self.state[_COUNT]:
            self._give_up()

    def _give_up(self):
        # type: () -> None
        """Leave out what is under way, with the edges that wait."""
        self._reading = None
        self._held = 0
        self._drop_stretch(self.stretch.count)

    def feed(self, times, steps, count):
        # type: (Any, Any, int) -> None
        """Take ``count`` edges: 30-bit ticks (array 'i') and senses (array 'b'); both are used as scratch."""
        if not count:
            return
        if not self._ahead_us:
            self.poll(times[0])
        if self._reading and self._hold(times, steps, count):
            return
        zero_index = self.rig["zero_index"]
        if zero_index is not None and self._edges <= zero_index < self._edges + count:
            self._feed_to_zero(times, steps, count, zero_index - self._edges + 1)
            return
        self._edges += count
        state = self.state
        if not state[_COUNT] and (times[0] - state[_T_LAST]) & ticks.MASK > state[_REST_GAP]:
            # Whatever came before, it stood since.
            self._in_motion = False
        if steps[0] != 0:
            if not self.stretch.sense_known:
                self._know_sense()
            count = detector.decode(state, times, steps, count)  # type: ignore[arg-type]
            if count and not state[_COUNT]:
                self._take_sense(steps[0])
        else:
            if self._noise >= _NOISY:
                if (times[0] - state[_T_LAST]) & ticks.MASK < _NOISE_US:
                    state[_SPURIOUS] += count
                    return
                self._noise = _NOISY // 2
                state[_SEEN] = 0
            odds = state[_ODDS]
            count = detector.accept(state, times, steps, count)  # type: ignore[arg-type]
            self._noise = max(0, self._noise + _ODD * (state[_ODDS] - odds) - count)
            if self._noise >= _NOISY:
                self._drop_stretch(self.stretch.count)
                return
        state[_USED] = 0
        state[_GIVEN] = count
        while state[_USED] < count:
            answer = detector.follow(state, self.stretch.buffer, times, steps)  # type: ignore[arg-type]
            state[_USED] = answer >> 4
            event = answer & 15
            if event == _EVENT_TURN:
                # Working one out takes a small board seconds, and many may have waited.
                watchdog.feed()
                try:
                    self._turned()
                except BAD_EDGES:
                    self._drop_stretch(self.stretch.count)
                if self._reading and state[_USED] < count:
                    # What is left of the batch lies behind it.
                    self._read_on(True)
            elif event == _EVENT_FULL:
                self.stretch.make_room()
        if self._reading or self._job:
            # The next poll goes on with it.
            self._due = self._now
        if state[_COUNT] > 4 and not self._reading:
            try:
                self._under_way()
            except BAD_EDGES:
                self._drop_stretch(self.stretch.count)

    def _hold(self, times, steps, count):
        # type: (Any, Any, int) -> bool
        """Let edges wait until the turnaround before them is read; False where too many do, and it is read now."""
        held = self._held
        if held + count > _HELD_MOST:
            self._read_on(True)
            return False
        for k in range(count):
            self._held_times[held + k] = times[k]
            self._held_steps[held + k] = steps[k]
        self._held = held + count
        return True

    def _feed_to_zero(self, times, steps, count, first):
        # type: (Any, Any, int, int) -> None
        """Feed up to the edge that the calibration names as nearest phi = 0, note where it is, feed the rest."""
        rest_times = times[first:count]
        rest_steps = steps[first:count]
        self.rig["zero_index"] = None
        self.feed(times, steps, first)
        if self.stretch.count:
            self.zero.mark(self.stretch)
        self.feed(rest_times, rest_steps, count - first)

    def _know_sense(self):
        # type: () -> None
        """The sensor tells the sense: spacings are thinned lines from here on."""
        state = self.state
        self.stretch.sense_known = True
        self.stretch.table.forget()
        self.stretch.table.magnets = 1
        self.spacing_rad = _TURN / self.rig["pulses_per_rev"] * state[_THIN]
        state[_STRIDE] = state[_BASE_STRIDE] = 1

    def _take_sense(self, code):
        # type: (int) -> None
        """A stretch begins with a line crossed back (the line before again) or with the next one."""
        stretch = self.stretch
        stretch.sense = 1 if self.state[_SENSE] == 1 else -1
        if code != _REVERSED:
            stretch.first_number += stretch.sense

    # -- turnarounds -------------------------------------------------------------------------------------------

    def _read_on(self, to_the_end=False):
        # type: (bool) -> None
        """Read one part more of a turnaround, or all that is left of it, and take the edges that have come since."""
        reading = self._reading
        self._reading = None
        try:
            for _ in reading:
                if not to_the_end:
                    self._reading = reading
                    return
        except BAD_EDGES:
            self._drop_stretch(self.stretch.count)
        count = self._held
        self._held = 0
        self.feed(self._held_times, self._held_steps, count)
