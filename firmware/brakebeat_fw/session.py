"""From edges to reps: runs the hot path over batches of edges and does once a rep what a rep needs."""

import struct
from array import array

from micropython import const

from . import detector, ticks, watchdog, wire
from .cue import CueWatch
from .reps import Reps
from .stretch import CAPACITY, Stretch
from .turnaround import Turn, fit_end, fit_start, fit_straight_or_paused
from .zero import ZeroTracker

# Places in the detector's state, as they stand there (a const with an underscore exists in its own file only).
_T_LAST = const(0)
_SEEN = const(1)
_P1 = const(2)
_LEAST_FROM_REST = const(5)
_REST_GAP = const(6)
_BOUNCED = const(7)
_MISSED = const(8)
_SPURIOUS = const(9)
_SLOW = const(10)
_COUNT = const(11)
_STRIDE = const(14)
_FASTEST = const(15)
_SLOWEST = const(16)
_TURN_AT = const(17)
_SLOW_TENTHS = const(19)
_CAPACITY = const(20)
_THIN = const(22)
_SENSE = const(23)
_KNOWN_TURN = const(24)
_S1 = const(25)
_BASE_STRIDE = const(26)
_ODDS = const(27)
_CONFIRM = const(29)
_USED = const(30)
_GIVEN = const(31)
_EVENT_TURN = const(1)
_EVENT_FULL = const(2)
_REVERSED = const(64)

IDLE = 0
CONCENTRIC = 1
ECCENTRIC = 2

# What edges that no wheel can make may do to the arithmetic. They must not bring the board down; the stretch is left
# out and counted. (A bare `try` costs nothing on MicroPython, a helper that takes the method would allocate.)
_BAD_EDGES = (ArithmeticError, IndexError, ValueError)

_TURN = const(6.2831853)
# Lines a turn that a finer sensor is thinned to, about.
_LINES = const(24)
# No rep turns the shaft less than this, or takes less time (common practice, no source).
_LEAST_RAD = const(4.0)
_LEAST_US = const(400000)
# Silence after an interval this much longer than the quickest, in twentieths, is a stop and no broken wire; with one
# or two magnets on the way back the wheel slows down a lot behind the last one.
_SLOWING = const(26)
_SLOWING_FEW = const(23)
# A wheel that started from rest did so less than one spacing before its first edge, or two if that magnet was missed.
_REST_SPACINGS = const(2.3)
# Edges before phi = 0 that show how fast the wheel is and was just before.
_NEWEST = const(40)
# Edges before a turnaround that may all be stray ones.
_STRAYS = const(6)
# With two magnets an interval that is longer than the quickest by no more than this, in tenths, holds a missed
# magnet and no turnaround: that would need a stop from full speed within two spacings, a turn. (One magnet's spacing
# is a turn, within which a wheel can stop.)
_NO_TURN = const(24)
# No source tells a time that much earlier than the one before.
_LEAP = const(-1000000)
# What an edge says for noise that no wheel can have made; an accepted one says 1 against it.
_ODD = const(4)
# From so much on there is noise. Dirty recordings come to half of it, noise passes it within some 20 to 60 edges.
_NOISY = const(40)
# Then no edge is looked at for so long, us; what comes later has to convince less to be noise again.
_NOISE_US = const(400000)
# No rep has more than one such edge in so many spacings, but for a few in a short one.
_ODDS_MOST = const(5)
_ODDS_LEAST = const(25)
# A rep is worked out bit by bit until the next one has come this share of its way: well before phi = 0.
_UNHURRIED = const(0.3)
# Edges that may come while a turnaround is read.
_HELD_MOST = const(64)
# What a turnaround that no wheel can have reached says for noise.
_IMPOSSIBLE = const(16)
# ticks.MASK, since polls come a thousand times a second.
_MASK = const(0x3FFFFFFF)
# A poll looks so often at least, microseconds.
_AHEAD_US = const(262144)
# Squared standard deviations for each edge that no start from rest is off by, uneven magnets included.
_REST_CHI = const(12.0)


class Session:
    """Counts reps. ``feed`` edges as they come and ``poll`` every millisecond while ``busy``.

    on_rep(record): a finished rep, packed as ``wire.REP_FIELDS``; the bytearray is reused, copy it.
    on_cue(kind, rep_index, t_us): a sound to make now; t_us on the unwrapped clock.
    """

    def __init__(self, rig, on_rep, on_cue):
        # type: (dict[str, Any], Any, Any) -> None
        self.rig = rig
        self.on_rep = on_rep
        self.on_cue = on_cue
        self.stretch = Stretch(rig["pulses_per_rev"])
        self.state = self.stretch.state
        self.cue = CueWatch(rig, self.stretch)
        self.zero = ZeroTracker()
        self.reps = Reps(rig, self.stretch, self.zero, self.cue)
        self.incomplete = 0
        self.overrun = 0
        self.phase = IDLE
        self.spacing_rad = _TURN / rig["pulses_per_rev"]
        self._edges = 0  # raw edges so far, to find the edge that a calibrated zero names
        self._clock_us = 0
        self._clock_ticks = 0
        self._now = 0  # ticks of the last poll
        self._due = 0  # no poll needs to look before these ticks, where they are near
        self._ahead_us = 0  # how near that is; 0 before the first poll
        self._start = None  # type: Any  # Turn: the stretch's first motion; None: not placed yet
        self._in_motion = False
        self._end_x = None  # type: Any  # position of the last turnaround in edge numbers; None: unknown
        self._start_is_new = False  # the stretch's start is no turnaround of the history yet
        self._zero_path = None  # type: Any  # path to phi = 0 in this stretch, spacings; None: not known (yet)
        self._overrun_before = 0  # when the stretch began
        self._noise = 0  # what speaks for noise instead of a wheel
        self._cue_ticks = [None] * len(wire.CUE_NAMES)  # type: list[int | None]
        self._job = None  # type: Any  # what is still to be worked out of the rep that has ended
        # A turnaround that is being read, and the edges that have come since.
        self._reading = None  # type: Any
        self._held_times = array("i", [0] * _HELD_MOST)
        self._held_steps = array("b", [0] * _HELD_MOST)
        self._held = 0
        self._unhurried = 0.0  # way of the next one, spacings, up to which that can wait for polls
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

    def now_us(self, t_ticks):
        # type: (int) -> int
        """30-bit ticks near the last poll as microseconds on the unwrapped clock."""
        return self._clock_us + ticks.after(t_ticks, self._clock_ticks)

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
            except _BAD_EDGES:
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
            except _BAD_EDGES:
                cue.disarm()
        rest = max(state[_REST_GAP], min(state[_S1] * 5, state[_REST_GAP] * 4) >> 1) + 1
        if rest <= (now_ticks - state[_T_LAST]) & ticks.MASK < ticks.HALF:
            try:
                self._came_to_rest()
            except _BAD_EDGES:
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
        # The next poll looks anew.
        self._due = self._now
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
                except _BAD_EDGES:
                    self._drop_stretch(self.stretch.count)
                if self._reading and state[_USED] < count:
                    # What is left of the batch lies behind it.
                    self._read_on(True)
            elif event == _EVENT_FULL:
                self.stretch.make_room()
        if state[_COUNT] > 4 and not self._reading:
            try:
                self._under_way()
            except _BAD_EDGES:
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

    # -- a rep under way ---------------------------------------------------------------------------------------

    def _under_way(self):
        # type: () -> None
        """New edges in a stretch that moves: place its start, notice phi = 0."""
        if self.phase == ECCENTRIC:
            return
        if self._zero_path is None:
            self.phase = CONCENTRIC
            if self._job:
                if self.stretch.path(self.stretch.count - 1) < self._unhurried:
                    return
                self._go_on(True)
            if not self._find_start(self.stretch.reach):
                return
            zero_x = self.zero.estimate()
            if zero_x is None or self._end_x is None:
                return
            self._zero_path = abs(zero_x - self._end_x) - self._start.distance
        stretch = self.stretch
        if stretch.path(stretch.count - 1) >= self._zero_path:
            stretch.mend()
            if stretch.path(stretch.count - 1) >= self._zero_path:
                self._extended()

    def _extended(self):
        # type: () -> None
        """phi = 0 has just been passed."""
        self._go_on(True)
        self.phase = ECCENTRIC
        stretch = self.stretch
        start = self._start
        reps = self.reps
        if reps.momentum(self.now_us(start.ticks)):
            self.cue.disarm()
            return
        zero = self._zero_path + start.distance
        newest = stretch.count - 1
        duration_s = ticks.after(stretch.buffer[newest], start.ticks) * 1e-6
        total = stretch.path(newest) + start.distance
        self.cue.arm(self._zero_path, zero, total / duration_s, self.spacing_rad)
        first = max(0, newest - _NEWEST)
        curve = stretch.curve(first, newest, start, duration_s, total, self.spacing_rad)
        peak, edge = curve.newest_speeds()
        if reps.effort.weaker(peak, edge, zero * self.spacing_rad, duration_s):
            self._sound(wire.CUE_DROP_OFF)
        planned = self.rig["cues.planned_reps"]
        if planned is not None and reps.of_set + 1 == planned + self.rig["momentum_reps"]:
            self._sound(wire.CUE_SET_DONE)

    def _sound(self, kind):
        # type: (int) -> None
        self._cue_ticks[kind] = self._now
        self.on_cue(kind, self.reps.count, self.now_us(self._now))

    # -- turnarounds -------------------------------------------------------------------------------------------

    def _turned(self):
        # type: () -> None
        """The wheel has turned round and run on for a few edges: finish the rep before, start the next."""
        self._go_on(True)
        stretch = self.stretch
        if self._start is None and not self._in_motion and stretch.turn_at < _STRAYS:
            # Stray edges while the wheel stood, or a nudge: what follows starts from rest.
            stretch.run_on()
            return
        turn = stretch.turn_at
        buffer = stretch.buffer
        if stretch.magnets == 2 and turn > 3:
            # A stray edge behind it must not make the wheel look quicker than it was.
            pairs_us = [ticks.after(buffer[k], buffer[k - 2]) for k in range(2, turn)]
            if self.state[_SLOWEST] * 20 < min(pairs_us) * _NO_TURN or stretch.only_slows(turn):
                stretch.run_on()
                return
        took_us = ticks.after(buffer[turn - 1], buffer[0])
        # The way beyond its first and last edge is not told yet, nor whether it began at rest.
        self._expect_wheel(stretch.path(turn - 1) / 4, took_us)
        self.cue.disarm()
        self._reading = self._read()

    def _read(self):
        # type: () -> Any
        """Read the turnaround and begin the next stretch, a part of the work at each step."""
        stretch = self.stretch
        stretch.mend()
        yield
        for _ in stretch.tidy_turn():
            yield
        if stretch.waits:
            return
        if stretch.runs_on:
            stretch.run_on()
            return
        first = stretch.turn_at
        if first < 3 or stretch.count - first < 3:
            self._drop_stretch(first)
            return
        yield
        base = stretch.base(first)
        before = stretch.before(first, base)
        after = stretch.after(first, base, True)
        end_s, start_s = fit_straight_or_paused(before, after)
        self._finish(first, base, end_s, before)
        last_number = stretch.number(first - 1)
        apart = stretch.sense * (before.distance - after.distance)
        stretch.first_number = last_number + int(apart + (0.5 if apart > 0 else -0.5))
        stretch.sense = -stretch.sense
        self._begin(first)
        self._start = Turn((base + int(start_s * 1e6)) & ticks.MASK, after)

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
        except _BAD_EDGES:
            self._drop_stretch(self.stretch.count)
        count = self._held
        self._held = 0
        self.feed(self._held_times, self._held_steps, count)

    def _begin(self, first):
        # type: (int) -> None
        """A new stretch, with the edges from place ``first`` on."""
        self.stretch.restart(first)
        self.cue.disarm()
        self.phase = IDLE if first >= self.stretch.count else CONCENTRIC
        self._start = None
        self._in_motion = False
        self.state[_ODDS] = 0
        self._zero_path = None
        self._cue_ticks = [None] * len(wire.CUE_NAMES)
        self._overrun_before = self.overrun

    def _drop_stretch(self, first):
        # type: (int) -> None
        """A stretch that is no rep."""
        try:
            self._go_on(True)
        except _BAD_EDGES:
            self.incomplete += 1
        self._lose_place()
        self.stretch.sense = -self.stretch.sense
        self._begin(first)
        self._in_motion = True

    def _lose_place(self):
        # type: () -> None
        """Turning that was no whole rep."""
        self.incomplete += 1
        self._forget_place()

    def _forget_place(self):
        # type: () -> None
        """How far the wheel moved, or which way, is not known."""
        if not self.stretch.sense_known:
            self.zero.forget()
            self.stretch.table.forget()
        self.stretch.leave()
        self._end_x = None

    def _came_to_rest(self):
        # type: () -> None
        """No edge for long: the wheel stands (or the sensor fell silent at speed, which is no rep either)."""
        self._go_on(True)
        stretch = self.stretch
        state = self.state
        if stretch.count < 4:
            # A stray edge, or the wheel was nudged by less than a few magnets.
            if self._start is None:
                state[_SPURIOUS] += stretch.count
        else:
            state[_TURN_AT] = state[_KNOWN_TURN] and state[_TURN_AT]
            stretch.mend()
            if not stretch.sense_known:
                stretch.tidy_end()
            first = state[_TURN_AT] or stretch.count
            if first < 6 or not (state[_KNOWN_TURN] or self._slowing()):
                self._lose_place()
            else:
                base = stretch.buffer[first - 1]
                end_s, before, strays = fit_end(
                    stretch.before(first, base), ticks.after(self._now, base) * 1e-6
                )
                # `base` stays: the side's seconds run from there.
                first -= strays
                state[_SPURIOUS] += strays
                self._finish(first, base, end_s, before)
                self._go_on(True)
                stretch.stand(first, before)
                if self.reps.lost:
                    self.zero.forget()
                    self._forget_place()
        self._begin(stretch.count)
        state[_SEEN] = 0

    def _slowing(self):
        # type: () -> bool
        """The last interval is longer than the quickest ones: the wheel was on its way to a stop."""
        state = self.state
        slowing = _SLOWING_FEW if self.stretch.magnets <= 2 and self.phase == ECCENTRIC else _SLOWING
        return bool(state[_SLOW]) or state[_S1] * 20 > state[_FASTEST] * slowing

    # -- reps --------------------------------------------------------------------------------------------------

    def _find_start(self, least):
        # type: (int) -> bool
        """Place the start of a stretch that began at rest; False where it began in motion, or has few edges."""
        if self._start is not None:
            self._note_start()
            return True
        if self._in_motion:
            return False
        stretch = self.stretch
        if stretch.count < least and not stretch.sense_known:
            return False
        if not stretch.sense_known:
            stretch.tidy_start()
        base = stretch.buffer[0]
        after = stretch.after(0, base, False)
        start_s = fit_start(after, -1.5)
        if after.distance > _REST_SPACINGS or after.chi > _REST_CHI * len(after.us):
            self._in_motion = True
            return False
        self._start = Turn((base + int(start_s * 1e6)) & ticks.MASK, after)
        self._note_start()
        return True

    def _note_start(self):
        # type: () -> None
        """Give the turnaround that the stretch started from a position, where it has none from the stretch before."""
        if self._end_x is None:
            stretch = self.stretch
            self._end_x = stretch.number(0) - stretch.sense * self._start.distance
            self._start_is_new = True

    def _expect_wheel(self, spacings, us):
        # type: (float, int) -> None
        """Raises ValueError where no wheel can turn that far between two standstills in that time."""
        least_us = self.state[_LEAST_FROM_REST] * 16.0
        # Half of it gaining speed, half of it losing it.
        if us * us < 2.2 * spacings * least_us * least_us:
            self._noise += _IMPOSSIBLE
            raise ValueError

    def _finish(self, end, base, end_s, before):
        # type: (int, int, float, Any) -> None
        """The stretch up to place ``end`` has ended in a turnaround: a rep, if it began in one."""
        stretch = self.stretch
        if not self._find_start(7):
            self._lose_place()
            return
        start_x = self._end_x
        total = stretch.path(end - 1) + self._start.distance + before.distance
        end_ticks = (base + int(end_s * 1e6)) & ticks.MASK
        us = ticks.after(end_ticks, self._start.ticks)
        self._expect_wheel(total, us)
        if self.state[_ODDS] * _ODDS_MOST > max(total, _ODDS_LEAST):
            # Made up of noise.
            raise ValueError
        if total * self.spacing_rad < _LEAST_RAD or us < _LEAST_US:
            # Nudged by hand: neither end says where phi = 0 is.
            self._lose_place()
            return
        if self._start_is_new:
            self.zero.add(start_x, stretch.sense < 0)
            self._start_is_new = False
        self._end_x = stretch.number(end - 1) + stretch.sense * before.distance
        self.zero.settle(stretch)
        self.zero.add(self._end_x, stretch.sense > 0)
        stop = Turn(end_ticks, before)
        start = self._start
        cues = [wire.ABSENT if at is None else ticks.after(at, start.ticks) for at in self._cue_ticks]
        gap = self.overrun != self._overrun_before
        self._unhurried = _UNHURRIED * total
        self._job = self.reps.make(
            end, start, stop, total, start_x, self.spacing_rad, self.now_us(start.ticks), cues, gap
        )
        # What needs the stretch's edges first: the next one takes their place.
        self._go_on()

    def _go_on(self, to_the_end=False):
        # type: (bool) -> None
        """Work out one part more of the rep that has ended, or all that is left of it, and hand it over."""
        job = self._job
        self._job = None
        if job is None:
            return
        for _ in job:
            if not to_the_end:
                self._job = job
                return
        if self.reps.made:
            self.on_rep(self.reps.record)
        else:
            self.incomplete += 1
