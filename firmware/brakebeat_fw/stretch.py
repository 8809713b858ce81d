"""The stretch: edges since the last turnaround (or since rest), as the hot path stores them."""

from array import array

from . import detector, ticks
from .approach import tidy_after, tidy_before
from .curve import Curve
from .fit import polynomial
from .hypotheses import best_turn, turn_misfit
from .repair import Repair
from .spacing import SpacingTable
from .turnaround import Side

MYPY = False
if MYPY:
    from typing import Any  # noqa: F401

CAPACITY = 384
# Edges on either side of a turnaround that place it: about this angle, no fewer and no more than these.
_SIDE_RAD = 8.0
_SIDE_LEAST = 4
_SIDE_MOST = 16
# With fewer magnets a side of a turnaround holds too few edges to tell a wrong one.
_TIDY_LEAST = 4
# Offsets this large (rms, edge spacings) tell magnets apart.
_UNEVEN = 0.005
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
        self.sense = 1
        self.sense_known = False  # the sensor tells the sense of rotation
        self.first_number = 0
        self.repaired = False
        self.thinned = False
        self._mended = 0  # edges before this place have been looked at twice

    @property
    def count(self):
        # type: () -> int
        """Edges stored."""
        return self.state[detector.COUNT]

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
        turn = self.state[detector.TURN_AT]
        if turn and place >= turn:
            # Behind the turnaround the same magnets pass again, the last one first.
            last = self.path(turn - 1)
            return self.table.along(
                self.number(turn - 1) - self.sense * (self.path(place) - last - 1), -self.sense
            )
        return self.table.along(self.number(place), self.sense)

    def before(self, end, base):
        # type: (int, int) -> Side
        """The last edges before place ``end``, nearest first; seconds from ticks ``base``."""
        us = []
        xs = []
        nearest = self.path(end - 1)
        for place in range(end - 1, max(-1, end - 1 - self.side_edges), -1):
            us.append(ticks.after(self.buffer[place], base) * 1e-6)
            xs.append(self.corrected(place) - nearest)
        return Side(us, xs)

    def after(self, first, base, turned):
        # type: (int, int, bool) -> Side
        """The edges from place ``first`` on; ``turned``: they are the ones behind a turnaround of this stretch."""
        us = []
        xs = []
        nearest = self.path(first)
        sense = -self.sense if turned else self.sense
        # The same magnet passes twice in a row, once each way.
        number = self.number(first - 1) if turned else self.number(first)
        for place in range(first, min(self.count, first + self.side_edges)):
            moved = self.path(place) - nearest
            us.append(ticks.after(self.buffer[place], base) * 1e-6)
            xs.append(-moved - self.table.along(number + sense * moved, sense))
        return Side(us, xs)

    def swallowed(self, first):
        # type: (int) -> int
        """Magnets missed in the greatest gap, where a wheel that ran straight on explains the edges better than a
        turnaround before place ``first`` does; 0 where it turned."""
        turned = turn_misfit(self, first)
        gap_at = self.state[detector.TURN_AT]
        base = self.buffer[gap_at - 1]
        before = self.before(gap_at, base)
        after = self.after(gap_at, base, True)
        scale = max(after.us[-1], -before.us[-1])
        us = [t / scale for t in before.us + after.us]
        best = 0
        for gap in range(2, 6):
            xs = before.xs + [gap - x for x in after.xs]
            answer = polynomial(us, xs, 2)
            if answer is None:
                continue
            misfit = 0.0
            for k in range(len(xs)):
                error = xs[k] - (answer[0] + us[k] * (answer[1] + us[k] * answer[2]))
                misfit += error * error
            misfit /= len(xs) - 3
            if misfit < turned:
                turned = misfit
                best = gap - 1
        return best

    def interval(self, place):
        # type: (int) -> float
        """Microseconds per even spacing of the interval that ends at ``place``."""
        moved = self.corrected(place) - self.corrected(place - 1)
        return max(1, ticks.after(self.buffer[place], self.buffer[place - 1])) / max(0.3, moved)

    def remove(self, place):
        # type: (int) -> None
        """Take out a stray edge: the path behind it is shorter by what it had advanced."""
        state = self.state
        moved = self.buffer[CAPACITY + place] - self.buffer[CAPACITY + place - 1] if place else 0
        for k in range(place, self.count - 1):
            self.buffer[k] = self.buffer[k + 1]
            self.buffer[CAPACITY + k] = self.buffer[CAPACITY + k + 1] - moved
        state[detector.COUNT] -= 1
        state[detector.SPURIOUS] += 1
        self._shift_path(-moved)
        if state[detector.TURN_AT] > place:
            state[detector.TURN_AT] -= 1

    def leave_out(self, place):
        # type: (int) -> None
        """Take out an edge whose time is wrong; the path stays as it is."""
        for k in range(place, self.count - 1):
            self.buffer[k] = self.buffer[k + 1]
            self.buffer[CAPACITY + k] = self.buffer[CAPACITY + k + 1]
        self.state[detector.COUNT] -= 1
        self.state[detector.SPURIOUS] += 1
        self.repaired = True
        if self.state[detector.TURN_AT] > place:
            self.state[detector.TURN_AT] -= 1

    def insert_before(self, place):
        # type: (int) -> None
        """Count one magnet as missed right before place ``place``."""
        for k in range(place, self.count):
            self.buffer[CAPACITY + k] += 1
        self.state[detector.MISSED] += 1
        self._shift_path(1)

    def _shift_path(self, spacings):
        # type: (int) -> None
        self.state[detector.INDEX] += spacings
        self.state[detector.NEXT_STORE] += spacings
        self.repaired = True

    def tidy_end(self):
        # type: () -> None
        """Mend the last edges of a stretch that ended at rest."""
        if not self.state[detector.TURN_AT] and self.magnets >= _TIDY_LEAST:
            tidy_before(self, self.count)

    def tidy_turn(self):
        # type: () -> int
        """Mend the edges around the turnaround; returns the place of the first edge after it."""
        state = self.state
        if state[detector.KNOWN_TURN]:
            return state[detector.TURN_AT]
        first = state[detector.TURN_AT]
        for _ in range(3):
            if first < 4 or self.count - first < 4:
                return first
            if self.magnets >= _TIDY_LEAST:
                state[detector.TURN_AT] = tidy_before(self, first)
                tidy_after(self, state[detector.TURN_AT])
            first, stray = best_turn(self, state[detector.TURN_AT])
            if stray is not None:
                self.remove(stray)
            elif first == state[detector.TURN_AT]:
                break
        return first

    def fill_gap(self, first, extra):
        # type: (int, int) -> None
        """Count ``extra`` magnets as missed right before place ``first`` and go on with the stretch."""
        state = self.state
        for _ in range(extra):
            self.insert_before(first)
        state[detector.SLOW] = state[detector.SLOWEST] = state[detector.RUN] = 0
        state[detector.TURN_AT] = 0

    def mend(self):
        # type: () -> None
        """Repair what came since the last call, up to the turnaround where there was one."""
        if self.sense_known:
            return
        state = self.state
        turn = state[detector.TURN_AT]
        newest = self.buffer[CAPACITY + self.count - 1]
        repair = Repair(self, CAPACITY, self._mended, turn if turn else self.count)
        repair.run()
        # The last two places could not be judged yet.
        self._mended = max(0, repair.end - 2)
        if not (repair.removed or repair.inserted or repair.dropped):
            return
        state[detector.COUNT] = repair.count
        if turn:
            state[detector.TURN_AT] = repair.end
        state[detector.SPURIOUS] += repair.removed + repair.dropped
        state[detector.MISSED] += repair.inserted
        self._shift_path(self.buffer[CAPACITY + repair.count - 1] - newest)

    def restart(self, first):
        # type: (int) -> None
        """Drop the edges before place ``first`` and set the hot path up for a new stretch."""
        state = self.state
        buffer = self.buffer
        count = self.count - first
        # Path indices start anew, so that none grows beyond a small integer in a long life.
        passed = buffer[CAPACITY + first] if count else state[detector.INDEX]
        for place in range(count):
            buffer[place] = buffer[first + place]
            buffer[CAPACITY + place] = buffer[CAPACITY + first + place] - passed
        state[detector.INDEX] -= passed
        state[detector.NEXT_STORE] = max(0, state[detector.NEXT_STORE] - passed)
        state[detector.COUNT] = count
        state[detector.STRIDE] = state[detector.BASE_STRIDE]
        state[detector.SLOW] = state[detector.SLOWEST] = state[detector.RUN] = 0
        state[detector.TURN_AT] = state[detector.KNOWN_TURN] = 0
        state[detector.FASTEST] = detector.DT_MAX
        for place in range(2, count):
            pair = max(0, ticks.after(buffer[place], buffer[place - 2])) >> 1
            state[detector.FASTEST] = min(state[detector.FASTEST], pair)
        if count > 3 and state[detector.T_LAST] == buffer[count - 1] and state[detector.STRIDE] == 1:
            # The hot path goes on from intervals that have been mended.
            for place, name in ((count - 1, detector.P1), (count - 2, detector.P2), (count - 3, detector.P3)):
                moved = buffer[CAPACITY + place] - buffer[CAPACITY + place - 1]
                state[name] = max(1, ticks.after(buffer[place], buffer[place - 1])) // max(1, moved)
        self.repaired = self.thinned = False
        self._mended = 0

    def make_room(self):
        # type: () -> None
        """Keep every second edge of a stretch that is too long, and store half as many from here on."""
        state = self.state
        buffer = self.buffer
        count = self.count // 2
        for place in range(count):
            buffer[place] = buffer[2 * place]
            buffer[CAPACITY + place] = buffer[CAPACITY + 2 * place]
        state[detector.COUNT] = count
        state[detector.STRIDE] *= 2
        state[detector.NEXT_STORE] = buffer[CAPACITY + count - 1] + state[detector.STRIDE]
        state[detector.FASTEST] = min(detector.DT_MAX, state[detector.FASTEST] * 2)
        state[detector.S1] = min(detector.DT_MAX, state[detector.S1] * 2)
        state[detector.SLOWEST] = min(detector.DT_MAX, state[detector.SLOWEST] * 2)
        state[detector.TURN_AT] //= 2
        self._mended //= 2
        self.thinned = True

    def curve(self, end, start, duration_s, total, spacing_rad):
        # type: (int, Any, float, float, float) -> Curve
        """The places before ``end`` between their turnarounds as a curve in seconds and radians."""
        curve = Curve(end + 2 + 2 * PAD)
        curve.duration_s = duration_s
        curve.total_rad = total * spacing_rad
        ts = curve.ts
        xs = curve.xs
        at = PAD + 1
        for place in range(end):
            ts[at] = ticks.after(self.buffer[place], start.ticks) * 1e-6
            xs[at] = (self.corrected(place) + start.distance) * spacing_rad
            at += 1
        ts[at] = duration_s
        xs[at] = total * spacing_rad
        for k in range(PAD):
            ts[PAD - 1 - k] = -ts[PAD + 1 + k]
            xs[PAD - 1 - k] = xs[PAD + 1 + k]
            ts[at + 1 + k] = 2 * ts[at] - ts[at - 1 - k]
            xs[at + 1 + k] = xs[at - 1 - k]
        curve.measure_noise(PAD + 1, PAD + end)
        return curve

    def find_magnets(self, end, start, duration_s, total, spacing_rad, bad_rad):
        # type: (int, Any, float, float, float, float) -> None
        """Set right which magnet is which, where the table fits this rep better some magnets on.

        bad_rad: noise beyond which the count is doubtful and all magnets are tried, not only the neighbours.
        """
        if self.table.spread() < _UNEVEN or self.state[detector.STRIDE] != 1:
            return
        number = best = self.first_number
        least = self.curve(end, start, duration_s, total, spacing_rad).noise_rad
        reach = self.table.magnets // 2 if bad_rad and least > bad_rad else min(2, self.table.magnets // 2)
        for shift in range(-reach, reach + 1):
            self.first_number = number + shift
            noise = self.curve(end, start, duration_s, total, spacing_rad).noise_rad
            # A clear gain only: with even magnets all are alike.
            if noise < 0.7 * least:
                least = noise
                best = self.first_number
        self.first_number = best

    def learn(self, curve, end, spacing_rad):
        # type: (Curve, int, float) -> None
        """Let the spacing table learn from a finished rep; thinned stretches do not show every magnet."""
        if self.state[detector.STRIDE] == 1:
            self.table.learn(curve, PAD + 1, PAD + end, spacing_rad, self)
