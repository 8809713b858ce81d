"""Places a turnaround between edges: time and angle at which the wheel stood, from the edges on either side.

Only the vertex time is searched; the rest is linear (``side.py``). What is known beforehand helps where edges are few
or rough: how much the pull weakens as the strap runs faster, and how far apart the two passes of one magnet lie.
"""

from math import log

from micropython import const

from .search import dip, narrow, search
from .side import BUILD_S, Side, speed  # noqa: F401
from .walk import STRAY

# A pause is believed where end and start then lie further apart than this and the edges fit better by this many
# squared standard deviations.
PAUSE_S = 0.03
_PAUSE_CHI = const(12.0)
# A magnet missed beside the turnaround likewise.
_MISSED_CHI = const(8.4)
# Where a pull or a brake fits badly alone its torque may change as no other's does: by this cubic share, standard
# deviation, which has to fit better by so many squared standard deviations. A pull has to be off by more to begin with:
# by less are magnets that stand unevenly and have not been learnt yet.
_ODD_BEND = const(0.5)
_ODD_BEND_CHI = const(8.4)
_ODD_PULL_CHI = const(20.0)
# Of the speed's growth no more than this share may be gone at the farthest edge.
_SPENT = const(-0.33)
# Edges that place a stop: few, so that a parabola holds.
_ALONE_EDGES = const(5)
_ALONE_STEPS = const(16)
# The other edges foretell when the nearest one comes, to so many times the noise of one.
_FORETOLD = const(3.0)
# A stop and a start are looked for within so many seconds of the nearest edge.
_SPAN_MOST_S = const(1.5)
# Shares of the time that a pull takes to build up, tried beside that time where torque that fades has been believed.
_BUILDS = (0.6, 1.4)
# A turnaround that fits this badly, in squared standard deviations, is tried with torque that fades from the brake's
# into the pull's, whose edges count as noisier; that is believed where it fits better by so many.
_ODD_CHI = const(5.0)
_LOOSE_CHI = const(6.0)
# Beside missed magnets no edge is near enough to tell of it: there by so many.
_LOOSE_MISSED_CHI = const(16.0)
# Where the edges before are off by so many by themselves, with a brake that still builds up as well.
_ODD_STOP_CHI = const(10.0)
# Such a brake is rare, and with any cubic share the few nearest edges tell little against it: a wrong edge is likelier.
_ODD_STOP_COST = const(24.0)
# And there have to be more edges than this on either side.
_LOOSE_EDGES = const(5)
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
        # Where brake and pull differ much in torque: the solutions of both sides with torque that fades.
        self.odd = None  # type: Any
        self._builds = _BUILDS  # type: tuple[float, ...]  # still to be tried
        # The side that keeps its vertex while the other one's is searched.
        self._other = (0.0, 0.0, 0.0)
        self._braked = 0.0  # least misfit of the edges before
        self._low = low = before.us[0]
        self._high = high = max(after.us[0], low + 1e-4)
        self._width = width = (high - low) / _GRID
        # The grid of either side; where no turn is that slow, since it stood in between, each lies near its own edges.
        spans = _span(before), _span(after)
        self._stood = high - low > spans[0] + spans[1]
        self._widths = [span / _GRID for span in spans] if self._stood else [width, width]
        # (misfit, distance, variance of the distance) of either side, the vertex at each place of the grid.
        befores = [_solve(before, self._place(False, k)) for k in range(_GRID + 1)]
        self.misfit = self._braked = dip(_misfits(befores))
        # Whatever comes after, the edges before have to fit.
        if self.misfit > _HOPELESS * most + _odd_chi(before):
            return
        afters = [_solve(after, self._place(True, k)) for k in range(_GRID + 1)]
        self.misfit += dip(_misfits(afters))
        if self.misfit > _FAR_OFF * (most + _FAR_OFF):
            return
        values = [befores[k][0] + afters[k][0] + self._apart(befores[k], afters[k]) for k in range(_GRID + 1)]
        at = low + width * values.index(min(values))
        if dip(values) < most and not self._stood:
            at = narrow(self._common, low, width, values)
        self.misfit = self._common(at)
        self.end = self.start = at
        before.placed = self
        if self.misfit <= _ODD_CHI or most <= _ODD_CHI:
            return
        if (
            not self._stood
            and most > _LOOSE_CHI
            and self.misfit < _HOPELESS * most + _odd_chi(before)
            and min(len(before.us), len(after.us)) > _LOOSE_EDGES
        ):
            # What a parabola dips to between places of the grid says too little against a brake that still builds up.
            self._braked = before.misfit(narrow(before.misfit, low, width, _misfits(befores)))
            self._loosen(1.0, low, high, _GRID)
        # A pause helps only where the edges before fit by themselves.
        if self.misfit > _PAUSE_CHI and self._braked + _PAUSE_CHI < min(most, self.misfit):
            self._pause(befores, afters)

    def _place(self, behind, k):
        # type: (bool, int) -> float
        """Place ``k`` of the grid of the edges before, or of those behind."""
        return self._high - (_GRID - k) * self._widths[1] if behind else self._low + k * self._widths[0]

    def _pause(self, befores, afters):
        # type: (Any, Any) -> None
        """Try an end and a start of their own."""
        before_width, after_width = self._widths
        least = 1e30
        first = last = 0
        for i in range(_GRID + 1):
            for j in range(0 if self._stood else i, _GRID + 1):
                value = befores[i][0] + afters[j][0]
                if value < least:
                    value += self._apart(befores[i], afters[j])
                    if value < least:
                        least = value
                        first = i
                        last = j
        far = self.after
        self.after = near = far.near()
        end = self._place(False, first)
        start = self._place(True, last)
        for _ in range(2):
            self._other = _solve(near, start)
            end = search(
                self._with_before, max(self._low, end - before_width), min(start, end + before_width), 2
            )
            self._other = _solve(self.before, end)
            start = search(
                self._with_after, max(end, start - after_width), min(self._high, start + after_width), 2
            )
        value = self._with_after(start) + _PAUSE_CHI
        self.after = far
        if start - end > PAUSE_S and value < self.misfit:
            self.misfit = value
            self.end = end
            self.start = start
            far.take(near.solution())
            self.odd = self.before.taken = None
            self.before.told_s = 0.0
        else:
            self._settle()

    def refine(self):
        # type: () -> None
        """Where torque that fades has been believed: how long it takes."""
        builds = self._builds
        self._builds = ()
        for share in builds:
            if self.odd:
                at = self.end
                self._loosen(share, max(self._low, at - self._width), min(self._high, at + self._width), 2)

    def _loosen(self, share, low, high, steps):
        # type: (float, float, float, int) -> None
        """Try torque that fades from the brake's into the pull's within ``share`` of the usual time."""
        before, after = self.before, self.after
        cost = _LOOSE_MISSED_CHI if before.missed or after.missed else _LOOSE_CHI
        if self._braked > _ODD_STOP_CHI:
            self.before = before.loose()
            cost += _ODD_STOP_COST
        self.after = after.carrying(share)
        self.carries = True
        at = search(self._common, low, high, steps)
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


def _odd_chi(side):
    # type: (Side) -> float
    return _ODD_RAD2 / (side.noise * side.noise * side.rad2)


def _misfits(solutions):
    # type: (list[tuple[float, float, float]]) -> list[float]
    return [solution[0] for solution in solutions]


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
    """Seconds at which the wheel came to rest, from the edges before alone; it lies within two spacings of them.

    Also the side that tells it, and how many of the nearest edges are stray ones and no part of it.
    """
    at, side = _stop(before.part(0, _ALONE_EDGES), latest)
    doubt = side.doubt
    strays = best = 0
    cost = stray_chi(side)
    while cost < doubt and strays < len(before.us) - _ALONE_EDGES:
        strays += 1
        # The path is counted from the edge that is the nearest now; an offset is less than half a spacing.
        rest = before.part(strays, _ALONE_EDGES)
        nearest = int(rest.xs[0] - 0.5)
        rest.xs = [x - nearest for x in rest.xs]
        start, other = _stop(rest, latest)
        if other.doubt + cost < doubt:
            doubt, at, side, best = other.doubt + cost, start, other, strays
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
    # type: (Side, float) -> tuple[float, Side]
    return _fit_alone(side, side.us[0], min(latest, side.us[0] + _span(side))), side


def fit_start(after, earliest, most=1e9, odd=False):
    # type: (Side, float, float, bool) -> float
    """Seconds at which the wheel started from rest, from the edges after alone; most: no more doubt is of any use;
    odd: the edges are known to be real, so that what fits badly is an odd pull."""
    near = after.near()
    at = _fit_alone(near, max(earliest, near.us[0] - _span(near)), near.us[0], most, odd)
    after.take(near.solution())
    after.doubt = near.doubt
    return at


def _span(side):
    # type: (Side) -> float
    """Seconds within which the vertex lies: two spacings from the nearest edge."""
    return min(_SPAN_MOST_S, 5.0 * abs(side.us[1] - side.us[0]))


def _fit_alone(side, low, high, most=1e9, odd=True):
    # type: (Side, float, float, float, bool) -> float
    at = search(side.misfit, low, high, _ALONE_STEPS, most)
    doubt = side.misfit(at)
    usual = side.bend_spread
    best = (0, usual)
    odd = odd and doubt > (_ODD_PULL_CHI if side.bend else _ODD_BEND_CHI)
    # A magnet that the wheel stood in front of gives no second edge.
    unseen = _MISSED_CHI if side.expected != 0.0 else 0.0
    for missed, spread, cost in ((0, _ODD_BEND, _ODD_BEND_CHI), (1, usual, unseen)):
        if min(doubt, most) <= cost or not (missed or odd):
            continue
        side.missed = missed
        side.loosen(spread)
        other = search(side.misfit, low, high, _ALONE_STEPS, most)
        value = side.misfit(other) + cost
        # A wheel that gains no more speed need not have started here; torque that grows away from where it stood is
        # no torque but a wrong edge.
        fades = side.jerk * abs(side.us[-1] - other)
        if value < doubt and (missed or fades > 0.0) and fades < _SPENT * side.curvature:
            at = other
            doubt = value
            best = (missed, spread)
    side.missed = best[0]
    side.loosen(best[1])
    side.misfit(at)
    side.doubt = doubt
    return at
