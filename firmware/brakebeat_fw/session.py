"""From edges to reps: runs the hot path over batches of edges and does once a rep what a rep needs."""

import struct
from array import array

from . import detector, ticks, wire
from .curve import Curve
from .figures import NAN, Figures, Wheel
from .turnaround import Side, fit_end, fit_start, fit_straight_or_paused
from .zero import ZeroTracker

CAPACITY = 384
IDLE = 0
CONCENTRIC = 1
ECCENTRIC = 2

_TURN = 6.2831853
# Edges on either side of a turnaround that place it.
_SIDE_EDGES = 5
# Mirrored points beyond each turnaround keep the speed at 0 there.
_PAD = 3
# No rep turns the shaft less than this, and neither phase is shorter than this share of the whole.
_LEAST_RAD = 4.0
_LEAST_SHARE = 0.12


class Session:
    """Counts reps. ``feed`` edges as they come and ``poll`` every millisecond.

    on_rep(record): a finished rep, packed as ``wire.REP_FIELDS``; the bytearray is reused, copy it.
    on_cue(kind, rep_index, t_us): a sound to make now; t_us on the unwrapped clock.
    """

    def __init__(self, rig, on_rep, on_cue):
        # type: (dict[str, object], object, object) -> None
        self.rig = rig
        self.on_rep = on_rep
        self.on_cue = on_cue
        self.wheel = Wheel(rig)
        self.pulses_per_rev = rig["pulses_per_rev"]
        self.spacing_rad = _TURN / self.pulses_per_rev
        self.record = bytearray(wire.REP_SIZE)
        self.state = array("i", [0] * detector.STATE_SIZE)
        self.buffer = array("i", [0] * (2 * CAPACITY))
        zero_index = rig["zero_index"]
        self.zero = ZeroTracker(None if zero_index is None else float(zero_index))
        self.rep_count = 0
        self.set_rep = 0
        self.incomplete = 0
        self.overrun = 0
        self._clock_us = 0
        self._clock_ticks = 0
        self._started = False
        self._last_end_us = None
        self._sense = 1
        self._start = None  # (ticks, distance in spacings) of the stretch's first motion, None: not known yet
        self._in_motion = False
        self._first_x = 0.0  # signed position of the stretch's first edge, edge spacings
        self._end_x = None  # signed position of the last turnaround
        self._last_edge_x = 0.0
        self._known_sense = False
        self._prepare()

    def _prepare(self):
        # type: () -> None
        state = self.state
        pulses = self.pulses_per_rev
        stride = max(1, pulses // 24)
        state[detector.STRIDE] = state[detector.BASE_STRIDE] = stride
        state[detector.THIN] = stride
        state[detector.CAPACITY] = CAPACITY
        state[detector.SLOW_TENTHS] = 18 if pulses <= 2 else 25
        state[detector.REST_GAP] = 500000 + 700000 // pulses
        state[detector.FASTEST] = detector.DT_MAX
        self._limit_acceleration(self._greatest_acceleration())

    def _greatest_acceleration(self):
        # type: () -> float
        """What the wheel can physically do, rad/s^2: 6 kN on the strap, or a light wheel's where that is unknown."""
        inertia = self.rig["inertia_kg_m2"]
        radius = self.rig["drum_radius_m"]
        if inertia is None or radius is None:
            return 3000.0
        return max(200.0, min(3000.0, 6000.0 * radius / inertia))

    def _limit_acceleration(self, rad_s2):
        # type: (float) -> None
        least_us = (2 * 0.875 * self.spacing_rad / rad_s2) ** 0.5 * 1e6
        self.state[detector.LEAST_FROM_REST] = max(8, min(0x3FFF, int(least_us) >> 4))

    @property
    def bounced(self):
        # type: () -> int
        """Edges left out as bounces."""
        return self.state[detector.BOUNCED]

    @property
    def missed(self):
        # type: () -> int
        """Magnets that passed without an edge."""
        return self.state[detector.MISSED]

    @property
    def spurious(self):
        # type: () -> int
        """Edges left out as noise."""
        return self.state[detector.SPURIOUS]

    @property
    def busy(self):
        # type: () -> bool
        """True while the wheel moves or may be moving: ``poll`` every millisecond."""
        return self.state[detector.COUNT] != 0

    def now_us(self, t_ticks):
        # type: (int) -> int
        """30-bit ticks near the last poll as microseconds on the unwrapped clock."""
        return self._clock_us + ticks.after(t_ticks, self._clock_ticks)

    def poll(self, now_ticks):
        # type: (int) -> None
        """Tell the time, 30-bit ticks; at least every 4 minutes, best every millisecond."""
        if not self._started:
            self._started = True
            self._clock_us = self._clock_ticks = now_ticks
        step = ticks.after(now_ticks, self._clock_ticks)
        if step > 0:
            self._clock_us += step
            self._clock_ticks = now_ticks
        state = self.state
        if state[detector.COUNT]:
            quiet = ticks.after(now_ticks, state[detector.T_LAST])
            if quiet > max(state[detector.REST_GAP], (state[detector.S1] * 5) >> 1):
                self._came_to_rest()

    def feed(self, times, steps, count):
        # type: (array[int], array[int], int) -> None
        """Take ``count`` edges: 30-bit ticks and senses; both arrays are used as scratch."""
        if count and not self._started:
            self.poll(times[0])
        state = self.state
        if count and steps[0] != 0:
            self._known_sense = True
            count = detector.decode(state, times, steps, count)
        else:
            count = detector.accept(state, times, steps, count)
        state[detector.USED] = 0
        state[detector.GIVEN] = count
        while state[detector.USED] < count:
            answer = detector.follow(state, self.buffer, times, steps)
            state[detector.USED] = answer >> 4
            event = answer & 15
            if event == detector.EVENT_TURN:
                self._turned()
            elif event == detector.EVENT_FULL:
                self._make_room()

    # -- turnarounds -----------------------------------------------------------------------------------------

    def _side(self, nearest, step, base):
        # type: (int, int, int) -> Side
        """Up to _SIDE_EDGES edges from buffer place ``nearest`` on, away from a turnaround (step -1 or +1)."""
        buffer = self.buffer
        us = []
        xs = []
        place = nearest
        while len(us) < _SIDE_EDGES and 0 <= place < self.state[detector.COUNT]:
            us.append(ticks.after(buffer[place], base) * 1e-6)
            xs.append(-abs(buffer[CAPACITY + place] - buffer[CAPACITY + nearest]) * 1.0)
            place += step
        return Side(us, xs)

    def _turned(self):
        # type: () -> None
        """The wheel has turned round and run on for a few edges: finish the rep before, start the next."""
        state = self.state
        first = state[detector.TURN_AT]
        if not state[detector.KNOWN_TURN]:
            first = self._split(first)
        base = self.buffer[first - 1]
        before = self._side(first - 1, -1, base)
        after = self._side(first, 1, base)
        if len(before.us) < 3 or len(after.us) < 3:
            self._drop_stretch(first)
            return
        end_s, start_s = fit_straight_or_paused(before, after)
        self._finish(first, base, end_s, before)
        self._next(first, base, start_s, after)

    def _split(self, guess):
        # type: (int) -> int
        """The first edge after the turnaround: the greatest gap ends there, or beside it where it turned close by."""
        state = self.state
        best = guess
        least = 1e9
        for first in (guess - 1, guess, guess + 1):
            if first < 3 or first > state[detector.COUNT] - 3:
                continue
            base = self.buffer[first - 1]
            before = self._side(first - 1, -1, base)
            after = self._side(first, 1, base)
            width = min(len(before.us), len(after.us), 4)
            for side in (before, after):
                side.us = side.us[:width]
                side.xs = side.xs[:width]
            value = 1e9
            for part in range(9):
                at = before.us[0] + (after.us[0] - before.us[0]) * part / 8
                value = min(value, before.misfit(at, False) + after.misfit(at, False))
            if value < least:
                least = value
                best = first
        return best

    def _next(self, first, base, start_s, after):
        # type: (int, int, float, Side) -> None
        """Begin the next stretch with the edges from place ``first`` on."""
        self._start = ((base + int(start_s * 1e6)) & ticks.MASK, after.distance)
        self._shift(first)

    def _shift(self, first):
        # type: (int) -> None
        """Drop the edges before place ``first`` and set the hot path up for a new stretch."""
        state = self.state
        buffer = self.buffer
        count = state[detector.COUNT] - first
        for place in range(count):
            buffer[place] = buffer[first + place]
            buffer[CAPACITY + place] = buffer[CAPACITY + first + place]
        state[detector.COUNT] = count
        state[detector.STRIDE] = state[detector.BASE_STRIDE]
        state[detector.SLOW] = state[detector.SLOWEST] = state[detector.RUN] = 0
        state[detector.TURN_AT] = state[detector.KNOWN_TURN] = 0
        state[detector.FASTEST] = detector.DT_MAX
        for place in range(2, count):
            pair = ticks.after(buffer[place], buffer[place - 2]) >> 1
            state[detector.FASTEST] = min(state[detector.FASTEST], pair)

    def _drop_stretch(self, first):
        # type: (int) -> None
        """A stretch that is no rep."""
        self.incomplete += 1
        self._start = None
        self._in_motion = True
        self._lose_place()
        self._shift(first)

    def _lose_place(self):
        # type: () -> None
        if not self._known_sense:
            self.zero.forget()
            self._end_x = None

    def _came_to_rest(self):
        # type: () -> None
        """No edge for long: the wheel stands (or the sensor fell silent at speed, which is no rep either)."""
        state = self.state
        count = state[detector.COUNT]
        if count < 4:
            if self._start is None:
                state[detector.SPURIOUS] += count
            self._stand_still()
            return
        first = count
        if state[detector.KNOWN_TURN] and count - state[detector.TURN_AT] < 4:
            first = state[detector.TURN_AT]
        base = self.buffer[first - 1]
        before = self._side(first - 1, -1, base)
        if first < 6 or not state[detector.SLOW]:
            self.incomplete += 1
            self._lose_place()
            self._stand_still()
            return
        end_s = fit_end(before, ticks.after(self._clock_ticks, base) * 1e-6)
        self._finish(first, base, end_s, before)
        self._stand_still()

    def _stand_still(self):
        # type: () -> None
        self._start = None
        self._in_motion = False
        self._shift(self.state[detector.COUNT])
        self.state[detector.SEEN] = 0

    def _make_room(self):
        # type: () -> None
        """Keep every second edge of a stretch that is too long, and store half as many from here on."""
        state = self.state
        buffer = self.buffer
        count = state[detector.COUNT] // 2
        for place in range(count):
            buffer[place] = buffer[2 * place + 1]
            buffer[CAPACITY + place] = buffer[CAPACITY + 2 * place + 1]
        state[detector.COUNT] = count
        state[detector.STRIDE] *= 2
        state[detector.FASTEST] = min(detector.DT_MAX, state[detector.FASTEST] * 2)
        state[detector.SLOWEST] *= 2
        state[detector.TURN_AT] //= 2

    # -- reps ------------------------------------------------------------------------------------------------

    def _find_start(self):
        # type: () -> bool
        """Place the start of a stretch that began at rest; False where it began in motion."""
        if self._start is not None:
            return True
        if self._in_motion:
            return False
        base = self.buffer[0]
        after = self._side(0, 1, base)
        start_s = fit_start(after, -1.5)
        if after.distance > 1.6:
            return False
        self._start = ((base + int(start_s * 1e6)) & ticks.MASK, after.distance)
        return True

    def _finish(self, first, base, end_s, before):
        # type: (int, int, float, Side) -> None
        """The stretch up to edge ``first`` has ended in a turnaround: a rep, if it began in one."""
        if not self._find_start():
            self.incomplete += 1
            self._sense = -self._sense
            self._lose_place()
            return
        buffer = self.buffer
        start_ticks, start_distance = self._start
        moved = buffer[CAPACITY + first - 1] - buffer[CAPACITY]
        if self._end_x is None:
            start_x = 0.0
            self._first_x = self._sense * start_distance
        else:
            # The first edge of this stretch and the last of the one before stand whole spacings apart.
            start_x = self._end_x
            apart = start_x + self._sense * start_distance - self._last_edge_x
            self._first_x = self._last_edge_x + int(apart + (0.5 if apart > 0 else -0.5))
        last_x = self._first_x + self._sense * moved
        end_x = last_x + self._sense * before.distance
        if self._end_x is None:
            self.zero.add(start_x, self._sense < 0)
        self.zero.add(end_x, self._sense > 0)
        self._end_x = end_x
        self._last_edge_x = last_x
        end_ticks = (base + int(end_s * 1e6)) & ticks.MASK
        self._report(first, start_ticks, start_distance, end_ticks, moved + start_distance + before.distance, start_x)
        self._sense = -self._sense

    def _report(self, first, start_ticks, start_distance, end_ticks, total, start_x):
        # type: (int, int, float, int, float, float) -> None
        zero_x = self.zero.estimate()
        zero = abs(zero_x - start_x) if zero_x is not None else total / 2
        if total * self.spacing_rad < _LEAST_RAD or not _LEAST_SHARE < zero / total < 1 - _LEAST_SHARE:
            self.incomplete += 1
            return
        duration_us = ticks.after(end_ticks, start_ticks)
        curve = self._curve(first, start_ticks, start_distance, duration_us, total)
        figures = Figures(curve, duration_us * 1e-6, zero * self.spacing_rad, total * self.spacing_rad, self.wheel)
        start_us = self.now_us(start_ticks)
        if self._last_end_us is None or start_us - self._last_end_us > self.rig["rest_gap_s"] * 1e6:
            self.set_rep = 0
        self._last_end_us = start_us + duration_us
        flags = wire.FLAG_ZERO_ASSUMED if self.zero.assumed() else 0
        if self.set_rep < self.rig["momentum_reps"]:
            flags |= wire.FLAG_MOMENTUM
        self._pack(figures, flags, start_us, duration_us)
        self.rep_count += 1
        self.set_rep += 1
        self.on_rep(self.record)

    def _curve(self, first, start_ticks, start_distance, duration_us, total):
        # type: (int, int, float, int, float) -> Curve
        """The rep's points, its turnarounds among them, mirrored a little beyond either."""
        buffer = self.buffer
        curve = Curve(first + 2 + 2 * _PAD)
        ts = curve.ts
        xs = curve.xs
        spacing = self.spacing_rad
        at = _PAD + 1
        for place in range(first):
            ts[at] = ticks.after(buffer[place], start_ticks) * 1e-6
            xs[at] = (buffer[CAPACITY + place] - buffer[CAPACITY] + start_distance) * spacing
            at += 1
        ts[at] = duration_us * 1e-6
        xs[at] = total * spacing
        for k in range(_PAD):
            ts[_PAD - 1 - k] = -ts[_PAD + 1 + k]
            xs[_PAD - 1 - k] = xs[_PAD + 1 + k]
            ts[at + 1 + k] = 2 * ts[at] - ts[at - 1 - k]
            xs[at + 1 + k] = xs[at - 1 - k]
        return curve

    def _timing(self, fraction, braked):
        # type: (float, bool | None) -> int
        if braked is None:
            return wire.TIMING_UNKNOWN
        if not braked:
            return wire.TIMING_NONE
        off = fraction - self.rig["brake_target"]
        tolerance = self.rig["brake_tolerance"]
        if off > tolerance:
            return wire.TIMING_LATE
        return wire.TIMING_EARLY if off < -tolerance else wire.TIMING_INSIDE

    def _pack(self, figures, flags, start_us, duration_us):
        # type: (Figures, int, int, int) -> None
        onset_us = wire.ABSENT if figures.onset_s is None else int(figures.onset_s * 1e6)
        timing = self._timing(figures.brake_fraction, figures.braked)
        head = (1, timing, flags, self.rep_count, start_us)
        times = (int(figures.extension_s * 1e6), int(figures.peak_s * 1e6), duration_us, onset_us)
        angles = (figures.peak_rad_s, figures.concentric_rad, figures.eccentric_rad, figures.brake_fraction)
        cues = (wire.ABSENT, wire.ABSENT, wire.ABSENT, wire.ABSENT)
        values = head + times + angles + figures.concentric + figures.eccentric + cues
        struct.pack_into(wire.REP_FORMAT, self.record, 0, *values)
