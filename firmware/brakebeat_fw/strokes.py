"""From stretches to reps: where each begins, passes phi = 0 and ends; hands on what lies between two turnarounds."""

from micropython import const

from . import ticks, wire
from .cue import CueWatch
from .mending import MendedStretch
from .reps import Reps
from .turnaround import Turn, fit_end, fit_start, fit_straight_or_paused
from .zero import ZeroTracker

# Places in the detector's state, as they stand there (a const with an underscore exists in its own file only).
_SEEN = const(1)
_LEAST_FROM_REST = const(5)
_SPURIOUS = const(9)
_SLOW = const(10)
_FASTEST = const(15)
_SLOWEST = const(16)
_TURN_AT = const(17)
_KNOWN_TURN = const(24)
_S1 = const(25)
_ODDS = const(27)

IDLE = 0
CONCENTRIC = 1
ECCENTRIC = 2

# What edges that no wheel can make may do to the arithmetic. They must not bring the board down; the stretch is left
# out and counted. (A bare `try` costs nothing on MicroPython, a helper that takes the method would allocate.)
BAD_EDGES = (ArithmeticError, IndexError, ValueError)
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
# With fewer edges than this share of the spacings up to phi = 0 a turnaround would lie before it.
_BEFORE_ZERO = const(0.9)
# Where phi = 0 would lie farther on than this share of the usual rep's way, two reps were taken for one.
_ZERO_MOST = const(0.7)
# No rep has more than one such edge in so many spacings, but for a few in a short one: now and then a stray edge comes,
# which counts twice.
_ODDS_MOST = const(5)
_ODDS_LEAST = const(25)
_ODDS_LEAST_PER_US = const(5e-6)
# A rep is worked out bit by bit until the next one has come this share of its way: well before phi = 0.
_UNHURRIED = const(0.3)
# What a turnaround that no wheel can have reached says for noise.
_IMPOSSIBLE = const(16)
# Squared standard deviations for each edge that no start from rest is off by, uneven magnets included.
_REST_CHI = const(12.0)

_TURN = const(6.2831853)


class Strokes:
    """What a stretch of edges means for reps and cues; ``Session`` brings the edges and the time."""

    def __init__(self, rig, on_rep, on_cue):
        # type: (dict[str, Any], Any, Any) -> None
        self.rig = rig
        self.on_rep = on_rep
        self.on_cue = on_cue
        self.stretch = MendedStretch(rig["pulses_per_rev"])
        self.state = self.stretch.state
        self.cue = CueWatch(rig, self.stretch)
        self.zero = ZeroTracker()
        self.reps = Reps(rig, self.stretch, self.zero, self.cue)
        self.incomplete = 0
        self.overrun = 0
        self.phase = IDLE
        self.spacing_rad = _TURN / rig["pulses_per_rev"]
        self._clock_us = 0
        self._clock_ticks = 0
        self._now = 0  # ticks of the last poll
        self._due = 0  # no poll needs to look before these ticks, where they are near
        self._start = None  # type: Any  # Turn: the stretch's first motion; None: not placed yet
        self._in_motion = False
        self._end_x = None  # type: Any  # position of the last turnaround in edge numbers; None: unknown
        self._start_is_new = False  # the stretch's start is no turnaround of the history yet
        self._zero_path = None  # type: Any  # path to phi = 0 in this stretch, spacings; None: not known (yet)
        self._overrun_before = 0  # when the stretch began
        self._noise = 0  # what speaks for noise instead of a wheel
        self._cue_ticks = [None] * len(wire.CUE_NAMES)  # type: list[int | None]
        self._reading = None  # type: Any  # a turnaround that is being read
        self._job = None  # type: Any  # what is still to be worked out of the rep that has ended
        self._unhurried = 0.0  # way of the next one, spacings, up to which that can wait for polls

    def now_us(self, t_ticks):
        # type: (int) -> int
        """30-bit ticks near the last poll as microseconds on the unwrapped clock."""
        return self._clock_us + ticks.after(t_ticks, self._clock_ticks)

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
        duration_us = ticks.after(stretch.buffer[newest], start.ticks)
        duration_s = duration_us * 1e-6
        total = stretch.path(newest) + start.distance
        self.cue.arm(self._zero_path, zero, total / duration_s, self.spacing_rad)
        # The next poll looks.
        self._due = self._now
        first = max(0, newest - _NEWEST)
        curve = stretch.curve(first, newest, start, duration_us, total, self.spacing_rad)
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
        if stretch.magnets == 2 and turn > 2:
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
        zero_path = self._zero_path
        if (
            stretch.magnets == 2
            and zero_path
            and first < _BEFORE_ZERO * zero_path < _ZERO_MOST * stretch.usual
        ):
            # No strap lets a wheel turn round before phi = 0: a stray edge, or a magnet missed behind several.
            stretch.run_on()
            return
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
        except BAD_EDGES:
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
        start_s = fit_start(after, -1.5, odd=True)
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
        if self.state[_ODDS] * _ODDS_MOST > max(total, _ODDS_LEAST + _ODDS_LEAST_PER_US * us):
            # Made up of noise.
            raise ValueError
        if total * self.spacing_rad < _LEAST_RAD or us < _LEAST_US:
            # Nudged by hand: neither end says where phi = 0 is.
            self._lose_place()
            return
        if self._start_is_new:
            self.zero.add(start_x, stretch.sense < 0)
            self._start_is_new = False
        stop = Turn(end_ticks, before)
        start = self._start
        cues = [wire.ABSENT if at is None else ticks.after(at, start.ticks) for at in self._cue_ticks]
        gap = self.overrun != self._overrun_before
        self._unhurried = _UNHURRIED * total
        self._job = self.reps.make(
            end, start, stop, total, start_x, self.spacing_rad, self.now_us(start.ticks), cues, gap
        )
        # What needs the stretch's edges first: the next one takes their place, and which magnet is which shows there.
        self._go_on()
        self._end_x = stretch.number(end - 1) + stretch.sense * before.distance
        self.zero.settle(stretch)
        self.zero.add(self._end_x, stretch.sense > 0)

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
