"""Which edges of a stretch are real, and where magnets were missed: at its start, in mid-rep, around its turnaround."""

from array import array

import micropython
from micropython import const

from . import ticks
from .reading import Window
from .stretch import CAPACITY, Stretch
from .turnaround import Placing, fit_end, fit_start, stray_chi

# Places in the hot path's state, as in detector.py.
_MISSED = const(8)
_SPURIOUS = const(9)
_COUNT = const(11)
_INDEX = const(12)
_NEXT_STORE = const(13)
_STRIDE = const(14)
_FASTEST = const(15)
_TURN_AT = const(17)
_S1 = const(25)
_ODDS = const(27)
# A doubtful turnaround is read again with each new edge until there are so many behind it.
_WAIT_MOST = const(10)
# So close to it no edge is mended before both sides are read.
_TURNING = const(6)
# A wheel that is being braked takes longer for a spacing by this factor, soon.
_BRAKING = const(1.08)
# How far an edge is off, in whole numbers: so many are an edge spacing; nothing can be said, or it is off by so much.
_UNIT = const(1 << 14)
_NOT_EVEN = const(9 << 14)
# Where the buffer's paths begin, and ticks' mask and half.
_PATHS = const(384)
_MASK = const(0x3FFFFFFF)
_HALF = const(0x20000000)
# An edge this many standard deviations off is read again, with its neighbours up to so many in a row that are not.
_ODD = const(4.0)
_CLEAN = const(4)
# ... or by this, edge spacings: a missed magnet moves two by 0.36, by 0.27 where the wheel gets faster meanwhile.
_SWALLOWED = const(0.22)
# So far off, edge spacings times magnets, a sudden brake moves one.
_BRAKED = const(0.2)
_MEND_MOST = const(24)
# A wheel at its full speed: an interval is no longer than the one before by more than this.
_AT_SPEED = const(1.1)
# So few that a turnaround is read by trying what may be wrong, within so many edges of it.
_FEW = const(2)
_FEW_REACH = const(8)
# Edges or magnets that may be wrong there, one after the other, and edges behind it that must tell where none helps.
_FEW_CHANGES = const(3)
_FEW_WAIT = const(6)
# Stray edges among the first ones that are looked for, and which ones: a bit for each.
_STRAYS_TRIED = const(14)
_START_STRAYS = const(3)
_START_LEAST = const(6)
# Squared standard deviations of a vertex: nothing is wrong; a wrong edge costs; it may be no turnaround.
_FEW_CHI = const(20.0)
_FEW_COST = const(12.0)
_FEW_WORST = const(90.0)
# An interval with a turnaround in it is longer than the quickest by this, in tenths.
_STANDING_TENTHS = const(28)
# A doubtful turnaround after less than this share of the last rep's way is none.
_EARLY = const(0.6)
# Edges before a place that tell the noise there.
_NOISE_BEFORE = const(24)
# The last edges are all real where they make a stop no worse than that, squared standard deviations, which is no
# farther away than so many seconds.
_STOP_CHI = const(8.0)
_STOP_S = const(1.0)
# What an edge is taken to be off by, its own and not the motion's part, at most, rad.
_NOISE_MOST_RAD = const(0.03)
# On the way back a magnet passes this much later (hysteresis), give or take, rad, until clean turnarounds tell better.
_LAG_RAD = const(0.06)
_LAG_ROOM_RAD = const(0.08)
# Squared standard deviations that are not enough to doubt which edges lie before a turnaround.
_SPLIT_CHI = const(8.0)
# Share of a later turnaround's evidence that goes into it.
_LAG_GAIN = const(0.2)


@micropython.viper
def _look_at(buffer: ptr32, uneven: ptr32, asked: ptr32, odds: ptr32):
    """``MendedStretch._odds`` where edges lie a spacing apart and before the turnaround, if there is one; -1 elsewhere.

    asked: first place and the one behind the last, the turnaround's place, the magnet at path 0, 1 where numbers run
    along the path, magnets; uneven: of each magnet, spacings times 2^12.
    """
    place = asked[0]
    end = asked[1]
    turn = asked[2]
    k = 0
    while place < end:
        at = _PATHS + place
        path = buffer[at]
        step = buffer[at + 1] - path
        odd = _NOT_EVEN
        if buffer[at + 2] - buffer[at - 2] == step << 2:
            odd = 0 - 1
            here = buffer[place]
            before = (here - buffer[place - 1]) & _MASK
            after = (buffer[place + 1] - here) & _MASK
            last = (here - buffer[place - 2]) & _MASK
            next = (buffer[place + 2] - here) & _MASK
            if step == 1 and (turn == 0 or place + 2 < turn) and (before | after | last | next) >> 24 == 0:
                pace = after
                if before < pace:
                    pace = before
                if pace < 1:
                    pace = 1
                low = 0
                while pace >> low >= 0x4000:
                    low += 1
                magnet = asked[3] + path
                if asked[4] == 0:
                    magnet = asked[3] - path
                shift = (uneven[magnet % asked[5]] & _MASK ^ _HALF) - _HALF
                if asked[4] == 0:
                    shift = 0 - shift
                pace = pace >> low
                late = 4 * (after - before) - next + last - (pace * shift >> 12 << low)
                if late < 0:
                    late = 0 - late
                late = late >> low
                if late > 0x7FFFF:
                    late = 0x7FFFF
                # 2^14 / 8.34: six deviations, 1.39 standard deviations of one edge each.
                odd = late * 1964 // pace
                if odd > _NOT_EVEN:
                    odd = _NOT_EVEN
        odds[k] = odd
        k += 1
        place += 1


def _clean_behind(odds, k, end, limit):
    # type: (Any, int, int, int) -> int
    """The number behind the first ``_CLEAN`` of ``odds`` in a row, from ``k`` on, that are below the limit; 0: none."""
    clean = 0
    while k < end:
        clean = clean + 1 if odds[k] < limit else 0
        k += 1
        if clean == _CLEAN:
            return k
    return 0


class MendedStretch(Stretch):
    """A stretch whose edges are read again where something about them is odd."""

    def edge_noise(self, low, end):
        # type: (int, int) -> float
        """Standard deviation of an edge in the places from ``low`` to before ``end``, edge spacings, by the median."""
        return self._typical(self._odds(max(2, low - _NOISE_BEFORE), end - 4))

    def _typical(self, odds):
        # type: (Any) -> float
        """The standard deviation of an edge that is off so much here and there, edge spacings."""
        found = [odd for odd in odds if odd < _NOT_EVEN]
        most = _NOISE_MOST_RAD * self.magnets / 6.2832
        if len(found) < 4:
            return most / 3
        found.sort()
        # The median of a normal's size is 0.6745 of its standard deviation.
        return min(most, found[len(found) // 2] / (0.6745 * _UNIT))

    def _odds(self, place, end):
        # type: (int, int) -> Any
        """How far each edge from ``place`` to before ``end`` is off the cubic through its four neighbours, ``_UNIT`` an
        edge spacing of one edge; ``_NOT_EVEN`` where they do not lie evenly."""
        table = self.table
        end = max(place, end)
        found = array("i", [0] * (end - place))
        number = self.first_number - self.sense * self.buffer[CAPACITY]
        asked = array("i", (place, end, self.turn_at, number % table.magnets, self.sense > 0, table.magnets))
        _look_at(self.buffer, table.uneven, asked, found)  # type: ignore[arg-type]
        for k in range(len(found)):
            if found[k] < 0:
                found[k] = min(_NOT_EVEN, int(self._odd(place + k) * _UNIT))
        return found

    def _odd(self, k):
        # type: (int) -> float
        """The same of the edge at place ``k``, wherever it lies, edge spacings of one edge.

        It is six deviations, 1.39 standard deviations of one edge each.
        """
        buffer = self.buffer
        here = buffer[k]
        before = ticks.after(here, buffer[k - 1])
        after = ticks.after(buffer[k + 1], here)
        farther = ticks.after(buffer[k + 2], here) - ticks.after(here, buffer[k - 2])
        step = self.path(k + 1) - self.path(k)
        # A missed magnet lengthens one of both.
        pace = max(1, min(after, before) // step)
        offset = self.offset
        uneven = 4.0 * (offset(k - 1) + offset(k + 1)) - offset(k - 2) - offset(k + 2) - 6.0 * offset(k)
        return abs(4 * (after - before) - farther - pace * uneven) / (8.34 * pace * step)

    def _shift_path(self, spacings):
        # type: (int) -> None
        self.state[_INDEX] += spacings
        self.state[_NEXT_STORE] += spacings
        self.repaired = True

    def tidy_start(self):
        # type: () -> None
        """Mend the first edges of a stretch that started at rest; noise before them is no edge of it."""
        count = self.count
        high = min(count, self.side_edges + _START_STRAYS)
        if high <= _START_LEAST or self.state[_STRIDE] != 1:
            return
        plain = [(place, self.path(place)) for place in range(high)]
        if self.tidies and self.magnets > _FEW:
            saved = self._saved(0)
            window = Window(self, 0, 0, self.reach)
            self._noise = window.noise
            self._keep(window.first(self._rest), 0, window.high)
            high = min(high, self.count)
            read = self._best_start([(place, self.path(place)) for place in range(high)])
            if self.start_misfit(read) < _FEW_WORST:
                self._keep_start(read, high)
                return
            self._restore(0, saved)
            high = len(plain)
        self._keep_start(self._best_start(plain), high)

    def _keep_start(self, edges, high):
        # type: (list[tuple[int, int]], int) -> None
        """Of the places before ``high`` keep ``edges``, which are one pull: no turnaround lies among them."""
        if len(edges) < high:
            self.run_on()
        self._keep(edges, 0, high)

    def _best_start(self, plain):
        # type: (list[tuple[int, int]]) -> list[tuple[int, int]]
        """``plain``, or those of its edges that make a better start: some of the first are stray."""
        best = plain
        if len(plain) <= _START_LEAST:
            # So few would fit a start whatever they are.
            return best
        least, lone = self._start_doubt(plain, 1e9)
        for strays in range(1, _STRAYS_TRIED + 1):
            gone = 0
            edges = []
            for place, path in plain:
                if strays >> place & 1:
                    gone += 1
                else:
                    edges.append((place, path - gone))
            cost = lone if strays == 1 else _FEW_COST * gone
            if cost >= least:
                continue
            first = edges[0][1]
            edges = [(place, path - first) for place, path in edges]
            misfit = self._start_doubt(edges, least - cost)[0] + cost
            if misfit < least:
                least = misfit
                best = edges
        return best

    def start_misfit(self, edges):
        # type: (list[tuple[int, int]]) -> float
        """Squared standard deviations of a start from rest before these edges."""
        return self._start_doubt(edges, 1e9)[0]

    def _start_doubt(self, edges, most):
        # type: (list[tuple[int, int]], float) -> tuple[float, float]
        """Likewise, and what a stray first one costs; no start that is off by more than ``most`` is of any use."""
        base = self.buffer[edges[0][0]]
        first = edges[0][1]
        near = edges[: self.side_edges]
        side = self.side(
            [ticks.after(self.buffer[place], base) * 1e-6 for place, _ in near],
            [float(first - path) for _, path in near],
            self._noise,
            True,
        )
        if self._rest is not None:
            side.expected = max(0.0, self._rest - side.lag)
        fit_start(side, -1.5, most)
        return side.doubt, stray_chi(side)

    def tidy_end(self):
        # type: () -> None
        """Mend the last edges of a stretch that ended at rest; noise behind them is no edge of it."""
        if self.tidies and self.count > 6 and not self.turn_at:
            window = Window(self, self.count, self._far(self.count), self.count)
            self._noise = window.noise
            edges = window.last()
            if edges and edges[-1][0] < self.count - 1:
                # The walks know no brake as sudden as an athlete's.
                _, side, strays = fit_end(self.before(self.count, window.base), _STOP_S)
                if not strays and side.doubt < _STOP_CHI:
                    return
            self._keep(edges, window.low, self.count)

    def _far(self, turn):
        # type: (int) -> int
        """Place from which edges before ``turn`` are read: all those that could not be mended are among them."""
        low = max(0, turn - 2 * self.reach, min(turn - self.reach, self._mended - 3))
        # Where the wheel still runs on unbraked nothing tells of the turnaround.
        first = low
        while low < min(turn - _TURNING, self._mended - 3) and self._pace(low + 1) < _BRAKING * self._pace(
            first
        ):
            low += 1
        return low

    def _pace(self, place):
        # type: (int) -> float
        """Microseconds per spacing over the three intervals behind the edge at ``place``."""
        took = ticks.after(self.buffer[place + 3], self.buffer[place])
        return took / max(1, self.path(place + 3) - self.path(place))

    def tidy_turn(self):
        # type: () -> Any
        """Mend the edges around the turnaround, a part of the work at each step. In the end ``turn_at`` is the place of
        the first edge after it; or ``runs_on``: there was none; or ``waits``: more edges must tell."""
        first = self.turn_at
        self.waits = False
        if first < 4 or self.count - first < 4 or self.sense_known:
            return
        if self.magnets <= _FEW:
            self._split_few(first)
        elif not self.tidies:
            self._best_split(first)
        else:
            window = Window(self, first, self._far(first), first + self.reach)
            for _ in window.read():
                yield
            self._noise = window.noise
            self._take(window)

    def _take(self, window):
        # type: (Window) -> None
        """Keep what a window around the turnaround has been read as."""
        reading = window.found
        if reading.doubt == 1e9:
            # Nothing explains them all.
            return
        self.waits = reading.at_a_loss and self.count - self.turn_at < _WAIT_MOST
        if self.waits:
            return
        edges = reading.before
        placing = reading.placing
        self.runs_on = not placing
        if self.runs_on:
            self._keep(edges, window.low, window.high)
            return
        split = window.low + len(edges)
        passed = edges[-1][1] + 1
        edges = edges + [(place, passed + count) for place, count in reading.after]
        # Magnets missed before the newest edge make it look like a stray one: what comes next will tell.
        last, passed = edges[-1]
        edges += [
            (place, passed + self.path(place) - self.path(last)) for place in range(last + 1, window.high)
        ]
        self._keep(edges, window.low, window.high)
        self._placed = (split, placing, window.base)
        if reading.plain and placing and not placing.odd:
            self._learn_lag(placing)
        self.state[_TURN_AT] = split

    def _split_few(self, guess):
        # type: (int) -> None
        """Likewise with so few magnets that a vertex tells more than walks."""
        self._best_split(guess)
        if self._misfit > _FEW_CHI and self.state[_STRIDE] == 1:
            self._mend_few(guess)
        if self._misfit < _FEW_WORST:
            return
        buffer = self.buffer
        first = self.turn_at
        longest = max([ticks.after(buffer[k], buffer[k - 1]) for k in range(first - 1, first + 2)])
        if longest * 10 < self.state[_FASTEST] * _STANDING_TENTHS or self.path(first) < _EARLY * self.usual:
            # It never came near to standing: a magnet was missed.
            self.runs_on = True
        else:
            self.waits = self.count - first < _FEW_WAIT

    def _mend_few(self, guess):
        # type: (int) -> None
        """Leave out an edge, or take a magnet for missed, and the next one, as long as that makes a better vertex."""
        low = max(0, self.turn_at - _FEW_REACH)
        least = self._misfit
        first = best = self._saved(low)
        for changes in range(1, _FEW_CHANGES + 1):
            found = best
            turn = self.turn_at
            cost = _FEW_COST * changes
            for place in range(
                max(low + 1, turn - self.side_edges), min(self.count - 1, turn + self.side_edges)
            ):
                for change in (-1, 1):
                    self._change(place, change)
                    self._best_split(self._widest(guess), least - cost)
                    if self._misfit + cost < least:
                        least = self._misfit + cost
                        best = self._saved(low)
                    self._restore(low, found)
            self._restore(low, best)
            guess = self.turn_at
            if best is found or least < cost + _FEW_CHI:
                break
        self._misfit = least
        if least > _FEW_WORST:
            # Then not even that many are wrong.
            self._restore(low, first)
        elif best is not first:
            self.repaired = True
            self._go_on()

    def _saved(self, low):
        # type: (int) -> Any
        """The edges from place ``low`` on and the state, for ``_restore``."""
        buffer = self.buffer
        return list(self.state), [(buffer[k], buffer[CAPACITY + k]) for k in range(low, self.count)]

    def _restore(self, low, saved):
        # type: (int, Any) -> None
        state, edges = saved
        for k in range(len(state)):
            self.state[k] = state[k]
        for at, path in edges:
            self.buffer[low] = at
            self.buffer[CAPACITY + low] = path
            low += 1

    def _widest(self, guess):
        # type: (int) -> int
        """Place behind the longest interval near ``guess``."""
        buffer = self.buffer
        best = guess
        longest = 0
        for place in range(max(4, guess - 2), min(self.count - 3, guess + 3)):
            took = ticks.after(buffer[place], buffer[place - 1])
            if took > longest:
                longest = took
                best = place
        return best

    def _change(self, place, change):
        # type: (int, int) -> None
        """Leave out the edge at ``place`` (-1), or take a magnet before it to have been missed (1)."""
        buffer = self.buffer
        state = self.state
        if change < 0:
            for k in range(place + 1, self.count):
                buffer[k - 1] = buffer[k]
                buffer[CAPACITY + k - 1] = buffer[CAPACITY + k] - 1
            state[_COUNT] -= 1
            state[_SPURIOUS] += 1
        else:
            for k in range(place, self.count):
                buffer[CAPACITY + k] += 1
            state[_MISSED] += 1
        state[_INDEX] += change
        state[_NEXT_STORE] += change

    def _best_split(self, guess, least=1e9):
        # type: (int, float) -> int
        """The place of the first edge after the turnaround: ``guess``, or one beside it that makes a better vertex;
        least: no misfit beyond this is of any use."""
        best = guess
        for first in (guess, guess - 1, guess + 1):
            base = self.buffer[first - 1]
            misfit = Placing(self.before(first, base), self.after(first, base, True), least).misfit
            if misfit < least:
                least = misfit
                best = first
            if least < _SPLIT_CHI:
                break
        self.state[_TURN_AT] = best
        self._misfit = least
        return best

    def _learn_lag(self, placing):
        # type: (Any) -> None
        """How much later a magnet passes on the way back: a turnaround with nothing odd about it tells."""
        spacing_rad = 6.2832 / self.magnets
        lag = (placing.before.distance - placing.after.distance) * spacing_rad
        # Where it turned in front of a magnet, that gave one edge for both passes.
        if lag < _LAG_RAD - spacing_rad / 2:
            lag += spacing_rad
        elif lag > _LAG_RAD + spacing_rad / 2:
            lag -= spacing_rad
        lag = max(_LAG_RAD - _LAG_ROOM_RAD, min(_LAG_RAD + _LAG_ROOM_RAD, lag))
        self._lags += 1
        self._lag_rad += (lag - self._lag_rad) * max(_LAG_GAIN, 1.0 / self._lags)

    def _keep(self, edges, low, high):
        # type: (list[tuple[int, int]], int, int) -> None
        """Of the places from ``low`` to before ``high`` keep only ``edges``: (place, spacings from the first)."""
        if not edges:
            return
        buffer = self.buffer
        state = self.state
        first = edges[0][0]
        start = buffer[CAPACITY + first]
        if first > low > 0:
            # Does the edge left out stand for a magnet?
            pace = ticks.after(buffer[edges[1][0]], buffer[first]) / edges[1][1]
            start = buffer[CAPACITY + low - 1]
            start += max(
                1,
                int(ticks.after(buffer[first], buffer[low - 1]) / max(1.0, pace) + 0.6),
            )
        newest = buffer[CAPACITY + high - 1]
        strays = high - low - len(edges)
        missed = 0
        at = low
        before = low - 1
        path = start + edges[0][1] - 1
        for place in range(low + 1, high):
            missed -= buffer[CAPACITY + place] - buffer[CAPACITY + place - 1] - 1
        for place, count in edges:
            # A stray edge shortly before a true one was taken for it: the true one was not missed.
            missed += max(0, start + count - path - 1 - (place - before - 1))
            before = place
            path = start + count
            buffer[at] = buffer[place]
            buffer[CAPACITY + at] = path
            at += 1
        if not strays and path == newest:
            return
        for place in range(high, self.count):
            buffer[at] = buffer[place]
            buffer[CAPACITY + at] = buffer[CAPACITY + place] + path - newest
            at += 1
        state[_COUNT] = at
        state[_SPURIOUS] += strays
        if self.magnets > _FEW:
            # Noise of which some is left out makes a wheel's motion, too.
            state[_ODDS] += strays
        state[_MISSED] = max(0, state[_MISSED] + missed)
        if state[_TURN_AT]:
            state[_TURN_AT] = max(1, state[_TURN_AT] - strays)
        self._mended = max(0, self._mended - strays)
        self._shift_path(path - newest)
        if at > 1:
            moved = buffer[CAPACITY + at - 1] - buffer[CAPACITY + at - 2]
            state[_S1] = max(1, ticks.after(buffer[at - 1], buffer[at - 2])) // max(1, moved)
        self._go_on()

    def only_slows(self, turn):
        # type: (int) -> bool
        """The wheel ran at its full speed up to the supposed turnaround and only slows behind it: magnets were missed.

        Before a turnaround it slows down, and a pull makes it quicker.
        """
        buffer = self.buffer
        tooks = [ticks.after(buffer[k], buffer[k - 1]) for k in range(turn - 3, turn + 4)]
        before = tooks[1] < _AT_SPEED * tooks[0] and tooks[2] < _AT_SPEED * tooks[1]
        return before and tooks[4] < tooks[5] < tooks[6]

    def mend(self):
        # type: () -> None
        """Read again what is odd among the edges since the last call, up to the turnaround where there was one."""
        if not self.tidies:
            return
        end = self.count
        if self.turn_at:
            # What lies closer to the turnaround is read together with what comes after it.
            end = self.turn_at - _TURNING
        place = max(5, self._mended)
        begin = max(2, place - _NOISE_BEFORE)
        odds = self._odds(begin, end - 2)
        noise = min(_ODD * self._typical(odds[:-2]), _SWALLOWED)
        limit = int(max(noise, _BRAKED / self.magnets) * _UNIT)
        while place < end - 2:
            if odds[place - begin] < limit:
                place += 1
                continue
            far = min(end, place + _MEND_MOST) - 2
            high = begin + _clean_behind(odds, place - begin, far - begin, limit)
            if high == begin and far < end - 2:
                # With the count one off, magnets that are known to be uneven make all that follow odd.
                high = begin + _clean_behind(odds, place - begin, far - begin, int(_SWALLOWED * _UNIT))
            if high == begin:
                if far == end - 2:
                    # What comes next will tell.
                    break
                place = far
                continue
            high += 2
            low = max(0, place - 3)
            edges = Window(self, high, low, high).between()
            if 3 * len(edges) < 2 * (high - low):
                # Never that many strays: it counts at a fraction of the magnets.
                edges = []
            strays = self.count
            self._keep(edges, low, high)
            strays -= self.count
            end -= strays
            place = begin = high - strays - 3
            odds = self._odds(begin, end - 2)
        self._mended = place
