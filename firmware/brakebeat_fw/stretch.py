"""The stretch: edges since the last turnaround (or since rest), as the hot path stores them."""

from array import array

from micropython import const

from . import detector, ticks
from .curve import Curve
from .reading import FIELD_RAD, NOISE_RAD
from .side import Side
from .spacing import SpacingTable

# Places in the hot path's state, as in detector.py.
_T_LAST = const(0)
_P1 = const(2)
_P2 = const(3)
_SLOW = const(10)
_COUNT = const(11)
_INDEX = const(12)
_NEXT_STORE = const(13)
_STRIDE = const(14)
_FASTEST = const(15)
_SLOWEST = const(16)
_TURN_AT = const(17)
_RUN = const(18)
_THIN = const(22)
_KNOWN_TURN = const(24)
_S1 = const(25)
_BASE_STRIDE = const(26)
_P3 = const(32)

CAPACITY = 384
# Edges on either side of a turnaround that place it: about this angle, no fewer and no more than these.
_SIDE_RAD = const(8.0)
_SIDE_LEAST = const(4)
_SIDE_MOST = const(16)
# Edges on either side among which wrong ones are told: about this angle, no fewer and no more than these.
_REACH_RAD = const(14.0)
_REACH_LEAST = const(6)
_REACH_MOST = const(16)
# With fewer magnets a side of a turnaround holds too few edges to tell a wrong one.
_TIDY_LEAST = const(2)
# So few that a turnaround is read by trying what may be wrong, within so many edges of it.
_FEW = const(2)
# Stray edges among the first ones that are looked for, and which ones: a bit for each.
_START_STRAYS = const(3)
# Cubic share of a pull's motion per rad (it weakens as the strap runs faster), its standard deviation, its most.
_BEND = const(-0.0145)
_BEND_SPREAD = const(0.03)
# With so few magnets a side has no edges to spare for telling it.
_BEND_SPREAD_FEW = const(0.015)
_BEND_MOST = const(-0.16)
# On the way back a magnet passes this much later (hysteresis), give or take, rad, until clean turnarounds tell better.
_LAG_RAD = const(0.06)
_LAG_ROOM_RAD = const(0.08)
_LAG_LEARNT_ROOM_RAD = const(0.01)
_LAG_SPREAD_RAD = const(0.02)
# Offsets this large (rms, edge spacings) tell magnets apart.
_UNEVEN = const(0.005)
# The count slips by no more magnets than this; the more, the better they have to fit: each by a fourth.
_SLIPS = const(3)
_SLIP_DOUBT = const(3.0)
# A slip leaves twice the offsets' variance in a rep, less where neighbours are alike. With no more than this share of
# it beyond the usual noise the magnets are right.
_SLIPPED = const(0.5)
# Angles of a curve are whole numbers up to this, and up to four times as much without the brake.
_WHOLE = const(1 << 26)
# Mirrored points beyond each turnaround keep the speed at 0 there.
PAD = 3


class Stretch:
    """Owns the hot path's state and buffer; everything a rep needs from its edges is asked here.

    Edge numbers (``number``) run along the positive sense and name magnets modulo their count.
    """

    def __init__(self, magnets):
        # type: (int) -> None
        self.state = array("i", [0] * detector.STATE_SIZE)
        self.buffer = array("i", [0] * (2 * CAPACITY))
        self.magnets = magnets
        self.table = SpacingTable(magnets)
        self.side_edges = max(_SIDE_LEAST, min(_SIDE_MOST, int(_SIDE_RAD * magnets / 6.2832)))
        self.reach = max(_REACH_LEAST, min(_REACH_MOST, int(_REACH_RAD * magnets / 6.2832)))
        if magnets <= _FEW:
            self.reach = self.side_edges + _START_STRAYS
        self.sense = 1
        self.sense_known = False  # the sensor tells the sense of rotation
        self.first_number = 0
        self.repaired = False
        self.thinned = False
        self._mended = 0  # edges before this place have been looked at twice
        self._rest = None  # type: float | None  # spacings from the last magnet passed to where the wheel stands
        self._noise = 0.0  # of the edges at the turnaround or stop that was read last, edge spacings
        self._lag_rad = _LAG_RAD
        self._lags = 0  # turnarounds that it was learnt from
        self.usual = 0.0  # spacings of the last rep
        self.runs_on = False  # what looked like a turnaround was none
        self.waits = False  # whether it was one more edges must tell
        self._misfit = 0.0  # of the vertex at the turnaround, squared standard deviations
        self._placed = (0, None, 0)  # type: tuple[int, Any, int]  # the turnaround as read: its place, Placing, base

    @property
    def count(self):
        # type: () -> int
        """Edges stored."""
        return self.state[_COUNT]

    def path(self, place):
        # type: (int) -> int
        """Edge spacings from the stretch's first edge to the one at ``place``."""
        return self.buffer[CAPACITY + place] - self.buffer[CAPACITY]

    def number(self, place):
        # type: (int) -> int
        """Edge number of the edge at ``place``."""
        return self.first_number + self.sense * self.path(place)

    def corrected(self, place):
        # type: (int) -> float
        """``path`` with the magnet's offset."""
        return self.path(place) + self.offset(place)

    def offset(self, place):
        # type: (int) -> float
        """Offset of the magnet at ``place`` along the turning, edge spacings."""
        turn = self.state[_TURN_AT]
        if turn and place >= turn:
            # Behind the turnaround the same magnets pass again, the last one first.
            last = self.path(turn - 1)
            return self.table.along(
                self.number(turn - 1) - self.sense * (self.path(place) - last - 1),
                -self.sense,
            )
        return self.table.along(self.number(place), self.sense)

    @property
    def turn_at(self):
        # type: () -> int
        """Place of the edge that the hot path takes for the first one behind a turnaround."""
        return self.state[_TURN_AT]

    @property
    def tidies(self):
        # type: () -> bool
        """True where wrong edges can be told: the sense is unknown, enough magnets, and every edge stored."""
        return not self.sense_known and self.magnets >= _TIDY_LEAST and self.state[_STRIDE] == 1

    def base(self, first):
        # type: (int) -> int
        """Ticks from which the sides of a turnaround before place ``first`` count their seconds."""
        return self._placed[2] if self._placed[0] == first else self.buffer[first - 1]

    def before(self, end, base):
        # type: (int, int) -> Side
        """The last edges before place ``end``, nearest first; seconds from ticks ``base``."""
        if self._placed[0] == end:
            side = self._placed[1].before  # type: Side
            return side
        us = []
        xs = []
        nearest = self.path(end - 1)
        for place in range(end - 1, max(-1, end - 1 - self.side_edges), -1):
            us.append(ticks.after(self.buffer[place], base) * 1e-6)
            xs.append(self.corrected(place) - nearest)
        return self.side(us, xs, self._noise, False)

    def after(self, first, base, turned):
        # type: (int, int, bool) -> Side
        """The edges from place ``first`` on; ``turned``: they are the ones behind a turnaround of this stretch."""
        if turned and self._placed[0] == first:
            side = self._placed[1].after  # type: Side
            return side
        us = []
        xs = []
        nearest = self.path(first)
        sense = -self.sense if turned else self.sense
        # The same magnet passes twice in a row, once each way.
        number = self.number(first - 1 if turned else first)
        for place in range(first, min(self.count, first + self.side_edges)):
            moved = self.path(place) - nearest
            us.append(ticks.after(self.buffer[place], base) * 1e-6)
            xs.append(-moved - self.table.along(number + sense * moved, sense))
        side = self.side(us, xs, self._noise, True)
        if not turned and self._rest is not None:
            side.expected = max(0.0, self._rest - side.lag)
        return side

    def side(self, us, xs, noise, pulled):
        # type: (list[float], list[float], float, bool) -> Side
        """Edges on one side of a turnaround with what is known of the motion there; noise: of one, edge spacings."""
        side = Side(us, xs)
        spacing_rad = 6.2832 / self.magnets * (self.state[_THIN] if self.sense_known else 1)
        reach_rad = (0.5 - xs[-1]) * spacing_rad
        far = (reach_rad / _SIDE_RAD) ** 2
        model = NOISE_RAD / spacing_rad * max(0.1, far, far * far)
        side.reach_rad = reach_rad
        side.rad2 = spacing_rad * spacing_rad
        if not self.sense_known:
            side.stride = self.state[_STRIDE]
        side.noise = (model * model + noise * noise) ** 0.5
        if pulled:
            side.bend = max(_BEND_MOST, _BEND * reach_rad)
            # Magnets that have not been learnt yet look like torque that changes, too.
            new = side.stride == 1 and not (self.table.reps or self.sense_known)
            side.bend_spread = (_BEND_SPREAD_FEW if new or self.magnets <= _FEW else _BEND_SPREAD) * reach_rad
            side.lag = self._lag_rad / spacing_rad
            side.lag_room = (_LAG_LEARNT_ROOM_RAD if self._lags else _LAG_ROOM_RAD) / spacing_rad
            if side.stride == 1:
                # Of a thinned stretch nobody knows which magnet was stored on either side.
                side.lag_spread = _LAG_SPREAD_RAD / spacing_rad
            side.slack = FIELD_RAD / spacing_rad
        return side

    def _go_on(self):
        # type: () -> None
        """Let the hot path go on from intervals that have been mended."""
        state = self.state
        buffer = self.buffer
        count = self.count
        if count > 3 and state[_T_LAST] == buffer[count - 1] and state[_STRIDE] == 1:
            for place, name in ((count - 1, _P1), (count - 2, _P2), (count - 3, _P3)):
                moved = buffer[CAPACITY + place] - buffer[CAPACITY + place - 1]
                state[name] = max(1, ticks.after(buffer[place], buffer[place - 1])) // max(1, moved)

    def stand(self, end, before):
        # type: (int, Side) -> None
        """The wheel stands behind the edges ``before`` place ``end``: the next stretch leads back from there."""
        self.first_number = self.number(end - 1) + self.sense * before.missed
        self.sense = -self.sense
        if not self.sense_known:
            self._rest = min(1.0, max(0.0, before.distance - before.missed))

    def leave(self):
        # type: () -> None
        """Where the wheel stood last is no longer known."""
        self._rest = None

    def run_on(self):
        # type: () -> None
        """Go on with a stretch in which there was no turnaround, or none that can be told yet."""
        state = self.state
        state[_SLOW] = state[_SLOWEST] = state[_RUN] = 0
        state[_TURN_AT] = 0
        self.runs_on = False

    def restart(self, first):
        # type: (int) -> None
        """Drop the edges before place ``first`` and set the hot path up for a new stretch."""
        state = self.state
        buffer = self.buffer
        count = self.count - first
        # Path indices start anew, so that none grows beyond a small integer in a long life.
        passed = buffer[CAPACITY + first] if count else state[_INDEX]
        for place in range(count):
            buffer[place] = buffer[first + place]
            buffer[CAPACITY + place] = buffer[CAPACITY + first + place] - passed
        state[_INDEX] -= passed
        state[_COUNT] = count
        state[_STRIDE] = state[_BASE_STRIDE]
        # A thinned stretch would have left out more edges than this one.
        state[_NEXT_STORE] = max(0, min(state[_NEXT_STORE] - passed, state[_INDEX] + state[_STRIDE]))
        state[_SLOW] = state[_SLOWEST] = state[_RUN] = 0
        state[_TURN_AT] = state[_KNOWN_TURN] = 0
        state[_FASTEST] = detector.DT_MAX
        for place in range(2, count):
            pair = max(0, ticks.after(buffer[place], buffer[place - 2])) >> 1
            state[_FASTEST] = min(state[_FASTEST], pair)
        self._go_on()
        self.repaired = self.thinned = self.runs_on = False
        self._mended = 0
        self._placed = (0, None, 0)

    def make_room(self):
        # type: () -> None
        """Keep every second edge of a stretch that is too long, and store half as many from here on."""
        state = self.state
        buffer = self.buffer
        count = self.count // 2
        for place in range(count):
            buffer[place] = buffer[2 * place]
            buffer[CAPACITY + place] = buffer[CAPACITY + 2 * place]
        state[_COUNT] = count
        state[_STRIDE] *= 2
        state[_NEXT_STORE] = buffer[CAPACITY + count - 1] + state[_STRIDE]
        state[_FASTEST] = min(detector.DT_MAX, state[_FASTEST] * 2)
        state[_S1] = min(detector.DT_MAX, state[_S1] * 2)
        state[_SLOWEST] = min(detector.DT_MAX, state[_SLOWEST] * 2)
        state[_TURN_AT] //= 2
        self._mended //= 2
        self.thinned = True

    def curve(self, first, end, start, duration_us, total, spacing_rad):
        # type: (int, int, Any, int, float, float) -> Curve
        """The places from ``first`` to before ``end`` as a curve from the turnaround ``start`` to the end of ``total``
        spacings."""
        # A spacing has so many parts that none of these angles needs more than 26 bits.
        parts = _WHOLE // (int(total) + 1)
        curve = Curve(end - first + 2 + 2 * PAD, spacing_rad / parts)
        curve.mirrored = PAD
        curve.duration_s = duration_us * 1e-6
        curve.total_rad = total * spacing_rad
        us = curve.us
        xs = curve.xs
        buffer = self.buffer
        sense = self.sense
        magnets = self.table.magnets
        begins = [int((start.distance + sense * offset) * parts) for offset in self.table.offsets]
        number = self.first_number
        begin = buffer[CAPACITY]
        began = start.ticks
        half = ticks.HALF
        mask = ticks.MASK
        at = PAD + 1
        for place in range(first, end):
            us[at] = (((buffer[place] - began) & mask) ^ half) - half
            path = buffer[CAPACITY + place] - begin
            xs[at] = path * parts + begins[(number + sense * path) % magnets]
            at += 1
        us[at] = duration_us
        xs[at] = int(total * parts)
        for k in range(PAD):
            us[PAD - 1 - k] = -us[PAD + 1 + k]
            xs[PAD - 1 - k] = xs[PAD + 1 + k]
            us[at + 1 + k] = 2 * us[at] - us[at - 1 - k]
            xs[at + 1 + k] = xs[at - 1 - k]
        return curve

    def find_magnets(self, curve_of, usual_rad):
        # type: (Any, float) -> Curve
        """Set right which magnet is which, where the table fits this rep better some magnets on.

        curve_of(): the rep's curve with the magnets as they are numbered; usual_rad: noise of the reps before, 0 if
        there were none. Returns the curve.
        """
        best_curve = curve_of()
        noise = best_curve.noise_rad
        spread = self.table.spread()
        beyond = (noise * noise - usual_rad * usual_rad) * (self.magnets / 6.2832) ** 2
        if spread < _UNEVEN or self.state[_STRIDE] != 1 or beyond < _SLIPPED * spread * spread:
            return best_curve
        number = best = self.first_number
        least = 1e9
        reach = min(_SLIPS, self.table.magnets // 2)
        for shift in range(-reach, reach + 1):
            if shift:
                self.first_number = number + shift
                curve = curve_of()
                # A clear gain only: with even magnets all are alike. And some often look like others farther on.
                doubt = curve.noise_rad * (_SLIP_DOUBT + abs(shift))
                if curve.noise_rad < 0.7 * noise and doubt < least:
                    least = doubt
                    best = self.first_number
                    best_curve = curve
        self.first_number = best
        return best_curve

    def learn(self, curve, end, spacing_rad):
        # type: (Curve, int, float) -> None
        """Let the spacing table learn from a finished rep; thinned stretches do not show every magnet."""
        if self.state[_STRIDE] == 1:
            self.table.learn(curve, PAD + 1, PAD + end, spacing_rad, self)
