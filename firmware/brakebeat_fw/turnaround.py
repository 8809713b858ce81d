"""Places a turnaround between edges: time and angle at which the wheel stood, from the edges on either side.

Only the vertex time is searched; the rest is linear (``side.py``). What is known beforehand helps where edges are few
or rough: how much the pull weakens as the strap runs faster, and how far apart the two passes of one magnet lie.
"""

from math import log

from micropython import const

from .search import narrow, search
from .side import BUILD_S, LOOSE_EDGES, Side, speed  # noqa: F401
from .walk import STRAY

# A pause is believed where end and start then lie further apart than this and the edges fit better by this many
# squared standard deviations.
PAUSE_S = 0.03
_PAUSE_CHI = const(12.0)
# A magnet missed beside the turnaround likewise.
_MISSED_CHI = const(8.4)
# Edges that place a stop: few, so that a parabola holds.
_ALONE_EDGES = const(5)
# A stop and a start are looked for within so many seconds of the nearest edge.
_SPAN_MOST_S = const(1.5)
# The other edges foretell when the nearest one comes, to so many times the noise of one.
_FORETOLD = const(3.0)
# Shares of the time that a pull takes to build up, tried where the brake's torque fades into the pull's.
_BUILDS = (1.0, 0.6, 1.4)
# A turnaround that fits this badly, in squared standard deviations, is tried with torque that fades from the brake's
# into the pull's, whose edges count as noisier; that is believed where it fits better by so many.
_ODD_CHI = const(5.0)
_LOOSE_CHI = const(6.0)
# Likewise a brake that still builds up where the wheel stops.
_ODD_STOP_CHI = const(10.0)
_LOOSE_STOP_CHI = const(16.0)
# Where the torque changes much, the solution at the vertex holds so far from it, seconds.
_TOLD_S = const(0.01)
# Torque that changes fast explains no misfit of so many times the most that is of use and of edges that are off by so
# much in all, rad squared.
_HOPELESS = const(5.0)
_ODD_RAD2 = const(0.6)
# Both sides at their best, the grid says, are this many times further off than is of use: no vertex helps.
_FAR_OFF = const(12.0)
# Places between the two nearest edges at which a vertex is tried first.
_GRID = const(8)


class Turn:
    """One end of a rep as placed: when, how far from the nearest edge, and how the wheel moved right beside it."""

    def __init__(self, at_ticks, side):
        # type: (int, Side) -> None
        self.ticks = at_ticks
        self.distance = side.distance  # from the turnaround to the nearest edge, edge spacings
        self._motion = side.taken or (side.curvature, side.jerk, 0.0, 0.0)
        # Up to here, seconds from the turnaround, the fit says more than single edges do.
        self.reach_s = side.told_s or abs(side.us[len(side.us) // 2] - side.vertex)

    def speed(self, u_s, spacing_rad):
        # type: (float, float) -> float
        """Speed ``u_s`` seconds from the turnaround, rad/s."""
        return speed(self._motion, u_s) * spacing_rad


class Placing:
    """Where the wheel ended one rep and started the next, seconds; ``misfit`` in squared standard deviations."""

    def __init__(self, before, after, most=1e9):
        # type: (Side, Side, float) -> None
        """most: no misfit beyond this is of any use, so that no more is tried to lower it than can bring it there."""
        self.before = before
        self.after = after
        self.shift = before.missed - after.missed + after.lag
        self.carries = False  # the brake's torque goes on into the pull
        # Where brake and pull differ much in torque: the solutions of both sides with torque that changes fast.
        self.odd = None  # type: Any
        # The side that keeps its vertex while the other one's is searched.
        self._other = (0.0, 0.0, 0.0)
        low = before.us[0]
        high = max(after.us[0], low + 1e-4)
        width = (high - low) / _GRID
        # (misfit, distance, variance of the distance) of either side, the vertex at each place of the grid: every other
        # one first, since that often shows that it is of no use.
        befores = [(0.0, 0.0, 0.0)] * (_GRID + 1)
        afters = befores[:]
        for first in (0, 1):
            for k in range(first, _GRID + 1, 2):
                befores[k] = _solve(before, low + k * width)
                afters[k] = _solve(after, low + k * width)
            step = 2 - first
            self.misfit = _least(befores[::step]) + _least(afters[::step])
            if self.misfit > _FAR_OFF * (most + _FAR_OFF):
                return
        values = [befores[k][0] + afters[k][0] + self._apart(befores[k], afters[k]) for k in range(_GRID + 1)]
        at = narrow(self._common, low, width, values)
        self.misfit = self._common(at)
        self.end = self.start = at
        before.placed = self
        if self.misfit <= _ODD_CHI or most <= _ODD_CHI:
            return
        # Where the edges before would have their vertex by themselves.
        alone = narrow(before.misfit, low, width, [value[0] for value in befores])
        if (
            most > _LOOSE_CHI
            and self.misfit < _HOPELESS * most + _ODD_RAD2 / (before.noise * before.noise * before.rad2)
            and min(len(before.us), len(after.us)) > LOOSE_EDGES
        ):
            self._loosen(alone, low, width)
        if self.misfit > _PAUSE_CHI:
            # A pause helps only where that fits.
            if before.misfit(alone) + _PAUSE_CHI < min(most, self.misfit):
                self._pause(befores, afters, low, width)
            else:
                self._settle()

    def _pause(self, befores, afters, low, width):
        # type: (Any, Any, float, float) -> None
        """Try an end and a start of their own."""
        least = 1e30
        first = last = 0
        for i in range(_GRID + 1):
            for j in range(i, _GRID + 1):
                value = befores[i][0] + afters[j][0]
                if value < least:
                    value += self._apart(befores[i], afters[j])
                    if value < least:
                        least = value
                        first = i
                        last = j
        far = self.after
        self.after = near = far.near()
        end = low + first * width
        start = low + last * width
        high = low + _GRID * width
        for _ in range(2):
            self._other = _solve(near, start)
            end = search(self._with_before, max(low, end - width), min(start, end + width), 2)
            self._other = _solve(self.before, end)
            start = search(self._with_after, max(end, start - width), min(high, start + width), 2)
        value = self._with_after(start) + _PAUSE_CHI
        before = self.before
        loose = None
        if _solve(before, end)[0] > _ODD_STOP_CHI + _LOOSE_STOP_CHI and len(before.us) >= LOOSE_EDGES:
            # A brake that still builds up where the wheel stops, as before any other rest.
            self.before = before.loose()
            self._other = _solve(near, start)
            at = search(self._with_before, low, start, 4)
            cost = self._with_before(at) + _PAUSE_CHI + _LOOSE_STOP_CHI
            if cost < value:
                value = cost
                end = at
                loose = self.before.solution()
            self.before = before
        self.after = far
        if start - end > PAUSE_S and value < self.misfit:
            self.misfit = value
            self.end = end
            self.start = start
            far.take(near.solution())
            self.odd = before.taken = None
            before.told_s = 0.0
            if loose:
                before.take(loose)
                before.told_s = _TOLD_S
        else:
            self._settle()

    def _loosen(self, alone, low, width):
        # type: (float, float, float) -> None
        """Try torque that fades from the brake's into the pull's, and a brake that still builds up if it must."""
        before, after = self.before, self.after
        # Beside missed magnets no edge is near enough to tell of a torque that fades.
        cost = _LOOSE_STOP_CHI if before.missed or after.missed else _LOOSE_CHI
        if before.misfit(alone) > _ODD_STOP_CHI:
            self.before = before.loose()
        self.after = after.carrying()
        self.carries = True
        first = low
        last = high = low + _GRID * width
        steps = _GRID
        for share in _BUILDS:
            self.after.build_s = share * BUILD_S
            at = search(self._common, first, last, steps)
            # Another length of the fading moves it by little.
            first = max(low, at - width)
            last = min(high, at + width)
            steps = 2
            value = self._common(at) + cost
            if value < self.misfit:
                self.odd = (self.before.solution(), self.after.solution())
                self.misfit = value
                self.end = self.start = at
                before.told_s = _TOLD_S
        self.carries = False
        self.before, self.after = before, after
        self._settle()

    def _settle(self):
        # type: () -> None
        """Leave the solution of a straight turn with both sides."""
        if self.odd:
            self.before.take(self.odd[0])
            self.after.take(self.odd[1])
        else:
            self._common(self.end)

    def _apart(self, before, after):
        # type: (Any, Any) -> float
        """Misfit of the distances of both sides against each other: it is the same magnet that passes twice."""
        spread = self.after.lag_spread
        if not spread:
            return 0.0
        off = max(0.0, abs(before[1] - after[1] - self.shift) - self.after.lag_room)
        misfit = off * off / (before[2] + after[2] + spread * spread)  # type: float
        return misfit

    def _common(self, t):
        # type: (float) -> float
        before = _solve(self.before, t)
        if self.carries:
            self.after.carried = -self.before.curvature
        after = _solve(self.after, t)
        misfit = before[0] + after[0] + self._apart(before, after)  # type: float
        return misfit

    def _with_before(self, t):
        # type: (float) -> float
        before = _solve(self.before, t)
        misfit = before[0] + self._other[0] + self._apart(before, self._other)  # type: float
        return misfit

    def _with_after(self, t):
        # type: (float) -> float
        after = _solve(self.after, t)
        misfit = after[0] + self._other[0] + self._apart(self._other, after)  # type: float
        return misfit


def _least(solutions):
    # type: (list[tuple[float, float, float]]) -> float
    """No more than the least misfit of one side, about: a parabola would dip half as far between places of the grid."""
    values = [solution[0] for solution in solutions]
    least = min(values)
    k = max(1, min(len(values) - 2, values.index(least)))
    return least - max(0.0, values[k - 1] + values[k + 1] - 2.0 * values[k]) / 4.0


def _solve(side, t):
    # type: (Side, float) -> tuple[float, float, float]
    misfit = side.misfit(t)
    return misfit, side.distance, side.variance


def fit_straight_or_paused(before, after):
    # type: (Side, Side) -> tuple[float, float]
    """End of one rep and start of the next, seconds: the same instant where the wheel turns straight round.

    Leaves distance and curvature of both sides at the answer.
    """
    placing = before.placed
    if placing is None or placing.after is not after:
        placing = Placing(before, after)
    return placing.end, placing.start


def fit_end(before, latest):
    # type: (Side, float) -> tuple[float, Side, int]
    """Seconds at which the wheel came to rest, from the edges before alone; it lies within one spacing of them.

    Also the side that tells it, and how many of the nearest edges are stray ones and no part of it.
    """
    strays = best = 0
    doubt, at, side = _stop(before.part(0, _ALONE_EDGES), latest)
    cost = stray_chi(side)
    while cost < doubt and strays < len(before.us) - LOOSE_EDGES:
        strays += 1
        # The path is counted from the edge that is the nearest now; an offset is less than half a spacing.
        rest = before.part(strays, _ALONE_EDGES)
        nearest = int(rest.xs[0] - 0.5)
        rest.xs = [x - nearest for x in rest.xs]
        least, start, other = _stop(rest, latest)
        if least + cost < doubt:
            doubt, at, side, best = least + cost, start, other, strays
        cost += stray_chi(other)
    return at, side, best


def stray_chi(side):
    # type: (Side) -> float
    """What it costs to take the nearest edge for a stray one, squared standard deviations.

    As a real one it came when the other edges foretell it, about: the likelier the slower the wheel was.
    """
    pace = speed(side.taken or side.solution()[2], abs(side.us[0] - side.vertex))
    return 2.0 * (STRAY + log(max(1.0, pace / (2.5 * _FORETOLD * side.noise))))


def _stop(side, latest):
    # type: (Side, float) -> tuple[float, float, Side]
    """What speaks against these edges before a standstill, squared standard deviations; when that was; the side."""
    latest = min(latest, side.us[0] + _span(side))
    at = _fit_alone(side, side.us[0], latest)
    doubt = side.doubt
    if doubt > _ODD_STOP_CHI and len(side.us) >= LOOSE_EDGES:
        loose = side.loose()
        # The parabola may have needed a missed magnet; this brake gets to say so anew.
        loose.missed = 0
        other = _fit_alone(loose, loose.us[0], latest)
        cost = loose.doubt + _LOOSE_STOP_CHI
        if cost < doubt:
            side.take(loose.solution())
            side.missed = loose.missed
            side.told_s = _TOLD_S
            return cost, other, side
    return doubt, at, side


def fit_start(after, earliest):
    # type: (Side, float) -> float
    """Seconds at which the wheel started from rest, from the edges after alone."""
    near = after.near()
    at = _fit_alone(near, max(earliest, near.us[0] - _span(near)), near.us[0])
    after.take(near.solution())
    after.doubt = near.doubt
    return at


def _span(side):
    # type: (Side) -> float
    """Seconds within which the vertex lies: two spacings from the nearest edge, three where it is known about where."""
    return min(_SPAN_MOST_S, (5.0 if side.expected is None else 7.0) * abs(side.us[1] - side.us[0]))


def _fit_alone(side, low, high):
    # type: (Side, float, float) -> float
    at = search(side.misfit, low, high, 16)
    doubt = side.misfit(at)
    best = 0
    # Two in a row are only believed where it is known how far the wheel stood from them.
    for missed in range(1, 2 if side.expected is None else 3):
        # The wheel may have stood in front of that magnet, which then gives no edge.
        held = missed == 1 and side.expected is not None and side.expected < side.slack
        cost = missed * _MISSED_CHI - (_MISSED_CHI / 1.5 if held else 0.0)
        if doubt <= cost:
            break
        side.missed = missed
        other = search(side.misfit, low, high, 16)
        cost += side.misfit(other)
        if cost < doubt:
            at = other
            doubt = cost
            best = missed
    side.missed = best
    side.misfit(at)
    side.doubt = doubt
    return at
