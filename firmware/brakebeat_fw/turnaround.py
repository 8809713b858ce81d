"""Places a turnaround between edges: time and angle at which the wheel stood, from the edges on either side.

Near a turnaround the angle follows d = c0 + c2 u^2 + c3 u^3 in the time u to the vertex, with a constant of its own
on either side (hysteresis shifts one side against the other) and an acceleration of its own (friction changes its
sign). Only the vertex time is searched; the rest is linear. What is known beforehand helps where edges are few or
rough: how much the pull weakens as the strap runs faster, and how far apart the two passes of one magnet lie.
"""

from micropython import const

_GOLDEN = const(0.618034)
# A pause is believed where end and start then lie further apart than this and the edges fit better by this many
# squared standard deviations.
PAUSE_S = 0.03
_PAUSE_CHI = const(12.0)
# The wheel was moved while it stood: likewise.
_MOVED_CHI = const(12.0)
# A magnet missed beside the turnaround likewise.
_MISSED_CHI = const(8.4)
# A stop and a start are looked for within so many seconds of the nearest edge.
_SPAN_MOST_S = const(1.5)
# A pull from rest is placed by the edges up to this angle from the vertex (at least 4), with this much cubic share.
_NEAR_RAD = const(5.0)
_NEAR_BEND = const(0.03)
# Such a pull weakens faster than one that goes on from a brake, by about this factor.
_NEAR_WEAKER = const(1.8)
# A pull from rest takes about so long to build up, seconds (common practice, no source).
_BUILD_S = const(0.04)
# Shares of it that are tried where the brake's torque fades into the pull's.
_BUILDS = (1.0, 0.6, 1.4)
# How it fades is not known that well: edges there count as that many times as noisy.
_FADE_NOISE = const(2.0)
# A turnaround that fits this badly, in squared standard deviations, is tried with torque that changes fast, and that
# is believed where it fits better by so many; a brake that still builds up is so many edges with so much cubic share.
_ODD_CHI = const(30.0)
_LOOSE_EDGES = const(5)
_LOOSE_BEND = const(0.5)
_LOOSE_CHI = const(16.0)
# Where the torque changes much, the solution at the vertex holds so far from it, seconds.
_TOLD_S = const(0.01)
# Places between the two nearest edges at which a vertex is tried first.
_GRID = const(8)


class Turn:
    """One end of a rep as placed: when, how far from the nearest edge, and how the wheel moved right beside it."""

    def __init__(self, at_ticks, side):
        # type: (int, Side) -> None
        self.ticks = at_ticks
        self.distance = side.distance  # from the turnaround to the nearest edge, edge spacings
        # Path below the vertex = curvature u^2 + jerk u^3 (negative), edge spacings.
        self.curvature = side.curvature
        self.jerk = side.jerk
        # Up to here, seconds from the turnaround, the fit says more than single edges do.
        self.reach_s = side.told_s or abs(side.us[len(side.us) // 2] - side.vertex)

    def speed(self, u_s, spacing_rad):
        # type: (float, float) -> float
        """Speed ``u_s`` seconds from the turnaround, rad/s."""
        return -u_s * (2.0 * self.curvature + 3.0 * self.jerk * u_s) * spacing_rad

    def acceleration(self, u_s, spacing_rad):
        # type: (float, float) -> float
        """Change of speed ``u_s`` seconds from the turnaround, away from it, rad/s^2."""
        return -(2.0 * self.curvature + 6.0 * self.jerk * u_s) * spacing_rad


class Side:
    """Edges on one side: ``us`` seconds from a common origin and ``xs`` edge spacings, nearest edge first.

    ``xs`` falls away from the vertex (0, -1, -2, …), so the vertex lies at c0 above the nearest edge.
    """

    def __init__(self, us, xs):
        # type: (list[float], list[float]) -> None
        self.us = us
        self.xs = xs
        self.reach_rad = 1.0  # angle from the vertex to the farthest edge, about
        self.noise = 0.01  # standard deviation of an edge, edge spacings
        self.missed = 0  # magnets passed between the nearest edge and the vertex
        self.slack = 0.0  # by how much the vertex may be nearer than those, edge spacings
        # c3 u^3 / (c2 u^2) at the farthest edge: what it is by experience, and its standard deviation (0: certain).
        self.bend = 0.0
        self.bend_spread = 0.0
        self.build_s = 0.0  # the torque grows for so long from the vertex on, then stays
        self.carried = 0.0  # half acceleration at the vertex that fades meanwhile, edge spacings / s^2
        # How much farther the nearest edge before is from the vertex than the one after: it may be off by ``lag_room``
        # at no cost, and beyond that by ``lag_spread``, a standard deviation (0: nothing is known of it).
        self.lag = 0.0
        self.lag_room = 0.0
        self.lag_spread = 0.0
        # Spacings from where the wheel stood to the first magnet, where they are known.
        self.expected = None  # type: float | None
        self.distance = 0.0  # from nearest edge to vertex, edge spacings
        self.variance = 0.0  # of the distance
        self.curvature = 0.0  # edge spacings / s^2, negative: half the acceleration
        self.jerk = 0.0
        self.vertex = 0.0  # seconds, where it was solved last
        self.chi = 0.0  # misfit there
        self.told_s = 0.0  # so far from the vertex the solution holds, where that is not far
        self.placed = None  # type: Any  # what ``place`` found, with the other side

    def part(self, first, count):
        # type: (int, int) -> Side
        """A side of ``count`` edges from the ``first`` on."""
        side = Side(self.us[first : first + count], self.xs[first : first + count])
        side.noise = self.noise
        side.reach_rad = self.reach_rad * (0.5 - side.xs[-1]) / (0.5 - self.xs[-1])
        share = side.xs[-1] / self.xs[-1] if self.xs[-1] else 1.0
        side.bend = self.bend * share
        side.bend_spread = self.bend_spread * share
        side.lag_room = self.lag_room
        side.lag_spread = self.lag_spread
        side.slack = self.slack
        side.expected = self.expected
        return side

    def near(self):
        # type: () -> Side
        """The nearest edges, behind a pull from rest: it builds up first."""
        side = self.part(0, max(4, int(len(self.us) * _NEAR_RAD / max(0.1, self.reach_rad))))
        side.missed = self.missed
        side.lag = self.lag
        side.bend *= _NEAR_WEAKER
        side.bend_spread = min(side.bend_spread, _NEAR_BEND)
        side.build_s = _BUILD_S
        return side

    def loose(self):
        # type: () -> Side
        """The nearest edges of a brake that still builds up: any cubic share."""
        side = self.part(0, max(_LOOSE_EDGES, len(self.us) // 2))
        side.missed = self.missed
        side.lag = self.lag
        side.bend = 0.0
        side.bend_spread = _LOOSE_BEND
        return side

    def carrying(self):
        # type: () -> Side
        """These edges, behind a pull that takes over from a brake of another torque."""
        side = self.part(0, len(self.us))
        side.missed = self.missed
        side.lag = self.lag
        side.build_s = _BUILD_S
        side.noise *= _FADE_NOISE
        return side

    def take(self, other):
        # type: (Side) -> None
        """The solution of ``other``, for the same nearest edge."""
        self.distance = other.distance
        self.variance = other.variance
        self.curvature = other.curvature
        self.jerk = other.jerk
        self.vertex = other.vertex
        self.chi = other.chi

    def misfit(self, vertex):
        # type: (float) -> float
        """Squared standard deviations with the vertex at ``vertex`` seconds; keeps the solution."""
        us = self.us
        xs = self.xs
        self.vertex = vertex
        scale = abs(us[-1] - vertex) or 1e-3
        build = self.build_s / scale
        carried = self.carried * scale * scale
        reach = 0.5 - xs[-1]
        bent = self.bend * reach
        cubic = self.bend_spread > 0.0 and len(us) > 3
        n2 = n3 = n4 = n5 = n6 = y0 = y2 = y3 = 0.0
        rows = []
        for k in range(len(us)):
            s = abs(us[k] - vertex) / scale
            s2 = s * s
            s3 = s2 * s
            # What is left once the bend that experience tells is taken out.
            y = xs[k] + bent * s3
            if build:
                y += carried * s2
                if s < build:
                    s2 = s3 / (3.0 * build)
                else:
                    s2 += build * (build / 3.0 - s)
                y -= carried * s2
            rows.append((s2, s3, y))
            n2 += s2
            n4 += s2 * s2
            y0 += y
            y2 += y * s2
            if cubic:
                n3 += s3
                n5 += s2 * s3
                n6 += s3 * s3
                y3 += y * s3
        n0 = float(len(us))
        stiff = f = g = 0.0
        if cubic:
            stiff = self.noise / (self.bend_spread * reach)
            stiff *= stiff
            n6 += stiff
            f = n5 / n6
            g = n3 / n6
            n4 -= f * n5
            n2 -= f * n3
            n0 -= g * n3
            y2 -= f * y3
            y0 -= g * y3
        h = n2 / n4 if n4 > 1e-9 else 0.0
        weight = n0 - h * n2
        if weight <= 1e-6 or n4 <= 1e-9:
            return 1e9
        c0 = (y0 - h * y2) / weight
        c2 = (y2 - n2 * c0) / n4
        c3 = y3 / n6 - g * c0 - f * c2 if cubic else 0.0
        total = stiff * c3 * c3
        for s2, s3, y in rows:
            y -= c0 + c2 * s2 + c3 * s3
            total += y * y
        variance = self.noise * self.noise
        self.distance = c0
        self.variance = variance / weight
        self.curvature = c2 / (scale * scale)
        self.jerk = (c3 - bent) / (scale * scale * scale)
        total /= variance
        # The nearest edge that was not missed lies within one spacing of the vertex, and below it.
        beyond = max(c0 - self.missed - 1.0, self.missed - self.slack - c0, 0.0)
        total += beyond * beyond / (self.variance + 4.0 * variance + 1e-4)
        if self.expected is not None:
            off = max(0.0, abs(c0 - self.missed - self.expected) - self.lag_room)
            total += min(
                _MOVED_CHI,
                off * off / (self.variance + self.lag_spread * self.lag_spread),
            )
        self.chi = total if c2 < 0.0 else total + 1e3
        return self.chi


def search(misfit, low, high, steps):
    # type: (Any, float, float, int) -> float
    """The argument between ``low`` and ``high`` with the least misfit: a grid, then golden section."""
    width = (high - low) / steps
    best = low
    least = 1e30
    for k in range(steps + 1):
        value = misfit(low + k * width)
        if value < least:
            least = value
            best = low + k * width
    return narrow(misfit, max(low, best - width), min(high, best + width), 9)


def narrow(misfit, low, high, rounds):
    # type: (Any, float, float, int) -> float
    """The argument of the one valley between ``low`` and ``high``, by golden section."""
    left = high - _GOLDEN * (high - low)
    right = low + _GOLDEN * (high - low)
    at_left = misfit(left)
    at_right = misfit(right)
    for _ in range(rounds):
        if at_left < at_right:
            high, right, at_right = right, left, at_left
            left = high - _GOLDEN * (high - low)
            at_left = misfit(left)
        else:
            low, left, at_left = left, right, at_right
            right = low + _GOLDEN * (high - low)
            at_right = misfit(right)
    # A valley's bottom is a parabola.
    middle = (low + high) / 2
    width = (right - left) / 2
    at_middle = misfit(middle)
    bend = at_left - 2.0 * at_middle + at_right
    if bend <= 0.0 or width <= 0.0:
        return middle
    return min(high, max(low, middle + 0.5 * width * (at_left - at_right) / bend))


class Placing:
    """Where the wheel ended one rep and started the next, seconds; ``misfit`` in squared standard deviations."""

    def __init__(self, before, after):
        # type: (Side, Side) -> None
        self.before = before
        self.after = after
        self.shift = before.missed - after.missed + after.lag
        self.carries = False  # the brake's torque goes on into the pull
        self._other = (
            0.0,
            0.0,
            0.0,
        )  # the side that keeps its vertex while the other one's is searched
        low = before.us[0]
        high = max(after.us[0], low + 1e-4)
        width = (high - low) / _GRID
        # (misfit, distance, variance of the distance) of either side, the vertex at each place of the grid.
        befores = []
        afters = []
        best = 0
        least = 1e30
        for k in range(_GRID + 1):
            at = low + k * width
            befores.append(_solve(before, at))
            afters.append(_solve(after, at))
            value = befores[k][0] + afters[k][0] + self._apart(befores[k], afters[k])
            if value < least:
                least = value
                best = k
        at = narrow(
            self._common,
            low + max(0, best - 1) * width,
            low + min(_GRID, best + 1) * width,
            9,
        )
        self.misfit = self._common(at)
        self.end = self.start = at
        self.odd = False  # brake and pull differ much in torque
        before.placed = self
        if self.misfit > _ODD_CHI and min(len(before.us), len(after.us)) > _LOOSE_EDGES:
            self._loosen(low, high)
        if self.misfit > _PAUSE_CHI:
            self._pause(befores, afters, low, width)

    def _pause(self, befores, afters, low, width):
        # type: (Any, Any, float, float) -> None
        """Try an end and a start of their own."""
        least = 1e30
        first = last = 0
        for i in range(_GRID + 1):
            for j in range(i, _GRID + 1):
                value = befores[i][0] + afters[j][0] + self._apart(befores[i], afters[j])
                if value < least:
                    least = value
                    first = i
                    last = j
        high = low + _GRID * width
        far = self.after
        self.after = near = far.near()
        end = low + first * width
        start = low + last * width
        for _ in range(2):
            self._other = _solve(self.after, start)
            end = narrow(self._with_before, max(low, end - width), min(start, end + width), 12)
            self._other = _solve(self.before, end)
            start = narrow(self._with_after, max(end, start - width), min(high, start + width), 12)
        self._other = _solve(self.before, end)
        value = self._with_after(start) + _PAUSE_CHI
        self.after = far
        if start - end > PAUSE_S and value < self.misfit:
            self.misfit = value
            self.end = end
            self.start = start
            far.take(near)
        else:
            self._settle()

    def _loosen(self, low, high):
        # type: (float, float) -> None
        """Try torque that fades from the brake's into the pull's, and a brake that still builds up if it must."""
        before, after = self.before, self.after
        if before.misfit(search(before.misfit, low, high, _GRID)) > _ODD_CHI / 3:
            self.before = before.loose()
        self.after = after.carrying()
        self.carries = True
        for share in _BUILDS:
            self.after.build_s = share * _BUILD_S
            at = search(self._common, low, high, _GRID)
            value = self._common(at) + _LOOSE_CHI
            if value < self.misfit:
                self.odd = True
                self.misfit = value
                self.end = self.start = at
                before.take(self.before)
                after.take(self.after)
                before.told_s = after.told_s = _TOLD_S
        self.carries = False
        self.before, self.after = before, after
        self._settle()

    def _settle(self):
        # type: () -> None
        """Leave the solution of a straight turn with both sides."""
        if not self.odd:
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
    # type: (Side, float) -> float
    """Seconds at which the wheel came to rest, from the edges before alone; it lies within one spacing of them."""
    latest = min(latest, before.us[0] + _span(before))
    at = _fit_alone(before, before.us[0], latest)
    if before.chi > _ODD_CHI / 3 and len(before.us) >= _LOOSE_EDGES:
        loose = before.loose()
        # The parabola may have needed a missed magnet; this brake gets to say so anew.
        loose.missed = 0
        other = _fit_alone(loose, loose.us[0], latest)
        if loose.chi + _LOOSE_CHI < before.chi + (before.missed - loose.missed) * _MISSED_CHI:
            before.take(loose)
            before.missed = loose.missed
            before.told_s = _TOLD_S
            return other
    return at


def fit_start(after, earliest):
    # type: (Side, float) -> float
    """Seconds at which the wheel started from rest, from the edges after alone."""
    near = after.near()
    at = _fit_alone(near, max(earliest, near.us[0] - _span(near)), near.us[0])
    after.take(near)
    return at


def _span(side):
    # type: (Side) -> float
    """Seconds within which the vertex lies: it is no more than two spacings from the nearest edge."""
    return min(_SPAN_MOST_S, 5.0 * abs(side.us[1] - side.us[0]))


def _fit_alone(side, low, high):
    # type: (Side, float, float) -> float
    at = search(side.misfit, low, high, 16)
    misfit = side.misfit(at)
    if misfit > _MISSED_CHI / 3:
        # The wheel may have stood in front of that magnet, which then gives no edge.
        held = side.expected is not None and side.expected < side.slack
        cost = _MISSED_CHI / 3 if held else _MISSED_CHI
        side.missed = 1
        other = search(side.misfit, low, high, 16)
        if side.misfit(other) + cost < misfit:
            return other
        side.missed = 0
        side.misfit(at)
    return at
