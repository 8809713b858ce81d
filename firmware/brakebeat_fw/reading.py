"""Reads the edges around a turnaround: which are real, where magnets were missed, which come before it, which after.

The plain reading (every edge real, none missed) is taken where it fits. Otherwise the likeliest walks towards the
turnaround from either side are put together in pairs, and the pair that makes the best vertex wins.
"""

from micropython import const

from . import ticks
from .side import Side  # noqa: F401
from .turnaround import Placing
from .walk import MISSED, REAL, STRAY, Trail, Walk  # noqa: F401

# Readings side by side when the plain one does not fit, and pairs of them that are tried as vertices.
_WIDTH = const(6)
_PAIRS_MOST = const(5)
# Stray edges in a row between both sides, at most.
_BETWEEN_MOST = const(3)
# Edges this fine are all real where what speaks against their vertex is no more than this: a wrong one would stick out.
_FINE_RAD = const(0.001)
_REAL_MOST = const(60.0)
# An interval in which magnets were missed at speed is longer than those beside it by this factor.
_GAP = const(1.5)
# Longer than any of those.
_TURN_S = const(1.0)
# What an edge may be off by because the wheel's motion is not that simple, rad.
NOISE_RAD = 0.008
# The vertex may lie that much inside a magnet's field, rad.
FIELD_RAD = 0.1
# The pull after a turnaround is stronger than the braking before it by this, about.
_PULL = const(1.2)
# Share by which the acceleration may differ from what distance and speed tell.
_LOOSE = const(0.35)
# So far from its start, spacings, a pull may still gain speed by a fair share from edge to edge.
_PULL_BEGINS = const(8)
# A reading dearer than this explains little.
_AT_A_LOSS = const(12.0)
# Magnets that may have been missed beside the turnaround, before and after it; and where no such reading explains much.
_BESIDE = ((0, 0), (0, 1), (1, 0), (1, 1))
_FARTHER = ((0, 0), (0, 1), (1, 0), (1, 1), (0, 2), (2, 0))


class Reading:
    """What the edges mean: real ones as (place, spacings from the first), in order; ``before`` and ``after``."""

    def __init__(self, before, after, doubt):
        # type: (list[tuple[int, int]], list[tuple[int, int]], float) -> None
        self.before = before
        self.after = after  # empty: the wheel ran straight on
        self.doubt = doubt
        self.plain = False  # nothing is odd about it
        self.at_a_loss = False  # it explains little
        self.placing = None  # type: Placing | None  # None: the wheel ran straight on


_NOTHING = Reading([], [], 1e9)


class Window:
    """The edges of a stretch around ``turn``, the place of the first edge that may lie behind a turnaround.

    At the stretch's end or start, where the wheel stands, all of them lie on one side.
    """

    def __init__(self, stretch, turn, low, high):
        # type: (Any, int, int, int) -> None
        self._stretch = stretch
        self._turn = turn
        self.low = max(0, low)
        self.high = min(stretch.count, high)
        self.base = base = stretch.buffer[max(0, turn - 1)]
        self._us = [ticks.after(stretch.buffer[k], base) * 1e-6 for k in range(self.low, self.high)]
        self.noise = stretch.edge_noise(self.low, turn)
        model = NOISE_RAD * stretch.magnets / 6.2832
        self._walk_noise = (self.noise * self.noise + model * model) ** 0.5
        self._slowing = 0.0
        self.found = _NOTHING

    # -- one side --------------------------------------------------------------------------------------------------

    def between(self):
        # type: () -> list[tuple[int, int]]
        """The real edges where the wheel runs freely and the ones at either end are real; empty: none can tell."""
        best = self._through()
        return best.before if best.doubt < 1e9 else []

    def _through(self):
        # type: () -> Reading
        """The wheel runs straight on; the first edge and the newest one are real."""
        best = Reading([(k, k - self.low) for k in range(self.low, self._turn)], [], 1e9)
        path = self._stretch.path
        way = path(self.low)
        moved = path(self.low + 3) - way
        speed = moved / max(1e-4, self._us[3] - self._us[0])
        # A pull's beginning: the square of the speed rises evenly with the way from where the wheel stood.
        rising = 0.0
        if way < _PULL_BEGINS:
            speed *= ((way + 0.5) / (way + 0.5 + moved / 2.0)) ** 0.5
            rising = speed * speed / (2.0 * way + 1.0)
        loose = speed * speed / (2.0 * way + 4.0)
        walk = Walk(self._us, self._offset(), speed, 0.15, rising, loose, self._walk_noise)
        walk.run(_WIDTH)
        for trail in walk.stops:
            if trail.place == self.high - self.low - 1 and trail.cost < best.doubt:
                best = Reading(self._ordered(trail, False), [], trail.cost)
        return best

    def _offset(self):
        # type: () -> Any
        stretch = self._stretch
        first = stretch.number(self.low)
        return lambda count: stretch.table.along(first + stretch.sense * count, stretch.sense)

    def _forwards(self, width):
        # type: (int) -> Walk
        """Walk to the turnaround from before it."""
        stretch = self._stretch
        left = max(1.0, stretch.path(self._turn - 1) - stretch.path(self.low) + 0.5)
        speed = self._speed(1)
        self._slowing = speed * speed / (2.0 * left)
        walk = Walk(
            self._us,
            self._offset(),
            speed,
            0.15,
            -self._slowing,
            _LOOSE * self._slowing,
            self._walk_noise,
        )
        walk.late = int(width > 1)
        walk.run(width)
        return walk

    def _speed(self, inwards):
        # type: (int) -> float
        """Speed at the far end, spacings per second: what the five intervals there tell, by the median.

        inwards: 1 from the first edge on, -1 from the last one back. The square of the speed is taken to rise evenly
        with the distance from the turnaround.
        """
        stretch = self._stretch
        far = self.low if inwards > 0 else self.high - 1
        vertex = stretch.path(self._turn - 1) + 0.5 if inwards > 0 else stretch.path(self._turn) - 0.5
        left = abs(vertex - stretch.path(far))
        speeds = []
        for k in range(5):
            place = far + inwards * k
            after = place + inwards
            if not self.low <= after < self.high:
                break
            there = abs(vertex - (stretch.path(place) + stretch.path(after)) / 2)
            moved = abs(stretch.path(after) - stretch.path(place))
            took = abs(self._us[after - self.low] - self._us[place - self.low])
            speeds.append(moved / max(1e-5, took) * (left / max(0.5, there)) ** 0.5)
        speeds.sort()
        return max(0.1, speeds[len(speeds) // 2]) if speeds else 1.0

    def _backwards(self, width):
        # type: (int) -> Walk
        """Walk to the turnaround back in time. Which magnet is which is not known there yet."""
        stretch = self._stretch
        left = max(1.0, stretch.path(self.high - 1) - stretch.path(self._turn) + 0.5)
        spread = stretch.table.spread()
        speed = (2.0 * _PULL * self._slowing * left) ** 0.5 if self._slowing else self._speed(-1)
        slowing = speed * speed / (2.0 * left)
        walk = Walk(
            [-u for u in reversed(self._us)],
            _even,
            speed,
            0.25,
            -slowing,
            _LOOSE * slowing,
            (self._walk_noise * self._walk_noise + spread * spread) ** 0.5,
        )
        walk.late = int(width > 1)
        walk.run(width)
        return walk

    def _ordered(self, trail, backwards):
        # type: (Trail, bool) -> list[tuple[int, int]]
        """Real edges of a walk as (place in the stretch, spacings), earliest first."""
        found = trail.places()
        if backwards:
            return [(self.high - 1 - place, trail.count - count) for place, count in found]
        found.reverse()
        return [(self.low + place, count) for place, count in found]

    def last(self):
        # type: () -> list[tuple[int, int]]
        """The real edges before the wheel stood still, behind which noise may have come."""
        return self._at_rest(self._forwards, False, None)

    def first(self, expected):
        # type: (float | None) -> list[tuple[int, int]]
        """The real edges since the wheel stood still, before which noise may have come.

        expected: spacings from where it stood to the first magnet, where they are known.
        """
        return self._at_rest(self._backwards, True, expected)

    def _at_rest(self, walks, backwards, expected):
        # type: (Any, bool, float | None) -> list[tuple[int, int]]
        """The real edges beside a standstill: the plain walk's, or the likeliest of several where that is odd."""
        trail = self._likeliest_last(walks(1), expected, False)
        if not self._is_plain(trail, expected):
            trail = self._likeliest_last(walks(_WIDTH), expected, backwards)
        return self._ordered(trail, backwards) if trail else []

    def _is_plain(self, trail, expected):
        # type: (Trail | None, float | None) -> bool
        """Nothing about this reading is odd, and no edge is left."""
        left = self.high - self.low - 1
        return trail is not None and trail.place == left and _plain(trail) and trail.unseen(expected) < 1.0

    def _likeliest_last(self, walk, expected, placed):
        # type: (Walk, float | None, bool) -> Trail | None
        """placed: how well the edges fit is left to the vertex of a start."""
        best = None
        least = 1e9
        for trail in walk.stops:
            cost = trail.cost + STRAY * (self.high - self.low - 1 - trail.place)
            if placed:
                cost += (self._stretch.start_misfit(self._ordered(trail, True)) - trail.chi) / 2
            else:
                cost += trail.unseen(expected)
            if cost < least:
                least = cost
                best = trail
        return best

    # -- both ------------------------------------------------------------------------------------------------------

    def read(self):
        # type: () -> Any
        """Leave the reading that explains the edges best in ``found``, a part of the work at each step."""
        if self.low + 3 < self._turn < self.high - 2:
            if self.noise * 6.2832 < _FINE_RAD * self._stretch.magnets:
                # The walks know no brake as sudden as an athlete's; where edges are fine a vertex tells better.
                for _ in self._fine():
                    yield
            if not self.found.placing:
                self.found = self._plain() or _NOTHING
                yield
        if self.found is _NOTHING:
            for _ in self._search():
                yield
        if self.found.placing:
            self.found.placing.refine()

    def _fine(self):
        # type: () -> Any
        """Every edge a real one."""
        found = Reading([], [], _REAL_MOST)
        for split in self._splits():
            before, after = self._all_real(split)
            found = self._vertex(found, before, after, 0.0, _BESIDE[:1])
            if found.doubt > _AT_A_LOSS:
                found = self._vertex(found, before, after, 0.0, _BESIDE[1:])
            # What explains little may be split at the wrong place.
            if found.doubt <= _AT_A_LOSS:
                break
            yield
        placing = found.placing
        if placing:
            found.plain = not (placing.before.missed or placing.after.missed)
            self.found = found

    def _plain(self):
        # type: () -> Reading | None
        size = self.high - self.low
        before = _greedy(self._forwards(1), size)
        if before is None:
            return None
        if before.place == size - 1:
            return Reading(self._ordered(before, False), [], 0.0)
        # Walked back, a gentle turn may look as if the wheel ran on.
        after = _greedy(self._backwards(1), size - 2 - before.place)
        if after is None or before.place + after.place + 2 != size:
            return None
        reading = Reading(self._ordered(before, False), self._ordered(after, True), 0.0)
        sides = self._sides(reading.before, reading.after, 0, 0)
        edges = len(sides[0].us) + len(sides[1].us)
        reading.placing = Placing(sides[0], sides[1])
        reading.placing.refine()
        reading.plain = True
        return reading if reading.placing.misfit < 6.0 + 0.5 * edges else None

    def _all_real(self, split):
        # type: (int) -> tuple[list[tuple[int, int]], list[tuple[int, int]]]
        """Every edge a real one, with the turnaround before place ``split``."""
        return self._counted(self.low, split), self._counted(split, self.high)

    def _counted(self, first, end):
        # type: (int, int) -> list[tuple[int, int]]
        """These edges one spacing apart, but where magnets were missed at speed: the wheel is quicker on either side of
        such a gap, and of no brake and no pull."""
        path = self._stretch.path

        def gap_s(k):
            # type: (int) -> float
            """Seconds up to place ``k``: unknown beyond the window, and beyond the turnaround none is short."""
            if first < k < end:
                return self._us[k - self.low] - self._us[k - 1 - self.low]
            return _TURN_S if self.low < k < self.high else 0.0

        count = 0
        edges = [(first, 0)]
        for k in range(first + 1, end):
            step = path(k) - path(k - 1)
            if step > 1 and gap_s(k) < _GAP * max(gap_s(k - 1), gap_s(k + 1)):
                step = 1
            count += step
            edges.append((k, count))
        return edges

    def _splits(self):
        # type: () -> list[int]
        """Places of the first edge behind the turnaround that are tried, the likeliest first."""
        low, high, turn = self.low + 3, self.high - 3, self._turn
        return [split for split in (turn, turn - 1, turn + 1, turn - 2, turn + 2) if low <= split < high]

    def _search(self):
        # type: () -> Any
        forwards = self._forwards(_WIDTH)
        yield
        size = self.high - self.low
        backwards = self._backwards(_WIDTH).stops
        yield
        best = self._through()
        yield
        if not self.low:
            # Magnets missed in a pull that has just begun look like a turnaround, too.
            for trail in backwards:
                if trail.place == size - 1 and trail.cost < best.doubt:
                    best = Reading(self._ordered(trail, True), [], trail.cost)
        pairs = []
        befores = _likeliest(forwards.stops)
        afters = _likeliest(backwards)
        for before in befores:
            for after in afters:
                between = size - 2 - before.place - after.place
                if 0 <= between <= _BETWEEN_MOST:
                    pairs.append(
                        (
                            before.cost + after.cost + between * STRAY,
                            before,
                            after,
                            between,
                        )
                    )
        pairs.sort(key=_first)
        for _, before, after, between in pairs[:_PAIRS_MOST]:
            # How well the edges fit is left to the vertex.
            doubt = before.cost + after.cost - (before.chi + after.chi) / 2 + between * STRAY
            if doubt < best.doubt:
                best = self._vertex(
                    best,
                    self._ordered(before, False),
                    self._ordered(after, True),
                    doubt,
                    _BESIDE,
                )
                yield
        # As if all were real and as expected.
        least = (self.low - self.high) * REAL
        if best.doubt - least > _AT_A_LOSS:
            # The walks know no brake as sudden as that: nothing is wrong, perhaps, but where it was split.
            for split in self._splits():
                left, right = self._all_real(split)
                best = self._vertex(best, left, right, least, _FARTHER)
                yield
        best.at_a_loss = best.doubt - least > _AT_A_LOSS
        self.found = best

    def _vertex(self, best, before, after, doubt, beside):
        # type: (Reading, list[tuple[int, int]], list[tuple[int, int]], float, Any) -> Reading
        """``best``, or this pair of sides where it makes a better vertex; beside: magnets missed there, to be tried."""
        sums = {}  # type: dict[Any, Any]
        for missed_before, missed_after in beside:
            # A magnet that the wheel turned in front of gave one edge for both passes: it was not missed.
            held = missed_after > missed_before
            cost = doubt + (missed_before + missed_after - held) * MISSED
            if cost >= best.doubt:
                continue
            sides = self._sides(before, after, missed_before, missed_after)
            # The edges before are always the same, those behind where the same magnets gave them.
            same = missed_before - missed_after
            sides[0].sums = sums.get(None)
            sides[1].sums = sums.get(same)
            placing = Placing(sides[0], sides[1], 2.0 * (best.doubt - cost))
            sums[None] = sides[0].sums
            sums[same] = sides[1].sums
            cost += placing.misfit / 2
            if held and sides[0].distance - missed_before > sides[1].lag + sides[1].lag_spread:
                cost += MISSED
            if cost < best.doubt:
                best = Reading(before, after, cost)
                best.placing = placing
        return best

    def _sides(self, before, after, missed_before, missed_after):
        # type: (list[tuple[int, int]], list[tuple[int, int]], int, int) -> tuple[Side, Side]
        stretch = self._stretch
        sense = stretch.sense
        first = stretch.number(self.low)
        nearest = before[-1][1]
        us = []
        xs = []
        for k in range(len(before) - 1, max(-1, len(before) - 1 - stretch.side_edges), -1):
            place, count = before[k]
            us.append(self._us[place - self.low])
            xs.append(count - nearest + stretch.table.along(first + sense * count, sense))
        side_before = stretch.side(us, xs, self.noise, False)
        us = []
        xs = []
        # The same magnet passes twice in a row, once each way.
        number = first + sense * (nearest + missed_before - missed_after)
        for place, count in after[: stretch.side_edges]:
            count -= after[0][1]
            us.append(self._us[place - self.low])
            xs.append(-count - stretch.table.along(number - sense * count, -sense))
        side_after = stretch.side(us, xs, self.noise, True)
        side_before.missed = missed_before
        side_after.missed = missed_after
        return side_before, side_after


def _greedy(walk, most):
    # type: (Walk, int) -> Trail | None
    """The last reading up to place ``most`` of a walk on its own, where nothing about it is odd."""
    for trail in reversed(walk.stops):
        if trail.place <= most:
            return trail if _plain(trail) else None
    return None


def _plain(trail):
    # type: (Trail) -> bool
    return trail.strays() == 0 and trail.missed() == 0 and trail.chi < 9.0 + 2.0 * trail.edges


def _likeliest(stops):
    # type: (list[Trail]) -> list[Trail]
    """The two likeliest readings for each place of the last real edge."""
    found = []  # type: list[Trail]
    for trail in sorted(stops, key=_cost):
        same = 0
        for other in found:
            if other.place == trail.place:
                same += 1
        if same < 2:
            found.append(trail)
    return found


def _cost(trail):
    # type: (Trail) -> float
    return trail.cost


def _first(pair):
    # type: (Any) -> Any
    return pair[0]


def _even(count):
    # type: (int) -> float
    return 0.0
