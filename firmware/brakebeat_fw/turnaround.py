"""Places a turnaround between edges: time and angle at which the wheel stood, from the edges on either side.

Near a turnaround the angle follows d = c0 + c2 u^2 + c3 u^3 in the time u to the vertex, with a constant of its own
on either side (hysteresis shifts one side against the other) and an acceleration of its own (friction changes its
sign). Only the vertex time is searched; the rest is linear.
"""

from .fit import solve

MYPY = False
if MYPY:
    from typing import Any  # noqa: F401

_GOLDEN = 0.618034


class Turn:
    """One end of a rep as placed: when, how far from the nearest edge, and how the wheel moved right beside it."""

    def __init__(self, at_ticks, side):
        # type: (int, Side) -> None
        self.ticks = at_ticks
        self.distance = side.distance  # from the turnaround to the nearest edge, edge spacings
        self.curvature = (
            side.curvature
        )  # path below the vertex = curvature u^2 + jerk u^3 (negative), edge spacings
        self.jerk = side.jerk
        # Up to here, seconds from the turnaround, the fit says more than single edges do.
        self.reach_s = abs(side.us[len(side.us) // 2] - side.vertex)

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
        self.distance = 0.0  # from nearest edge to vertex, edge spacings
        self.curvature = 0.0  # edge spacings / s^2, negative: half the acceleration
        self.jerk = 0.0
        self.most = 1.0  # greatest distance from the vertex that the nearest edge can have, edge spacings
        self.vertex = 0.0  # seconds, where it was solved last

    def part(self, first, count):
        # type: (int, int) -> Side
        """A side of ``count`` edges from the ``first`` on."""
        return Side(self.us[first : first + count], self.xs[first : first + count])

    def take(self, other):
        # type: (Side) -> None
        """The solution of ``other``, for the same nearest edge."""
        self.distance = other.distance
        self.curvature = other.curvature
        self.jerk = other.jerk
        self.vertex = other.vertex

    def misfit(self, vertex, cubic):
        # type: (float, bool) -> float
        """Sum of squared residuals (edge spacings^2) with the vertex at ``vertex`` seconds; keeps the solution."""
        self.vertex = vertex
        size = 3 if cubic else 2
        matrix = [[0.0] * size for _ in range(size)]
        right = [0.0] * size
        scale = abs(self.us[-1] - vertex) or 1.0
        rows = []
        for k in range(len(self.us)):
            u = abs(self.us[k] - vertex) / scale
            row = (1.0, u * u, u * u * u)
            rows.append(row)
            for a in range(size):
                for b in range(size):
                    matrix[a][b] += row[a] * row[b]
                right[a] += row[a] * self.xs[k]
        answer = solve(matrix, right)
        if answer is None:
            return 1e9
        self.distance = answer[0]
        self.curvature = answer[1] / (scale * scale)
        self.jerk = answer[2] / (scale * scale * scale) if cubic else 0.0
        total = 0.0
        for k in range(len(self.us)):
            row = rows[k]
            error = self.xs[k]
            for a in range(size):
                error -= answer[a] * row[a]
            total += error * error
        return total


def search(misfit, low, high, steps):
    # type: (Any, float, float, int) -> float
    """The argument between ``low`` and ``high`` with the least misfit: a grid, then golden section."""
    best = low
    least = 1e30
    width = (high - low) / steps
    for k in range(steps + 1):
        at = low + k * width
        value = misfit(at)
        if value < least:
            least = value
            best = at
    low = max(low, best - width)
    high = min(high, best + width)
    left = high - _GOLDEN * (high - low)
    right = low + _GOLDEN * (high - low)
    at_left = misfit(left)
    at_right = misfit(right)
    for _ in range(14):
        if at_left < at_right:
            high, right, at_right = right, left, at_left
            left = high - _GOLDEN * (high - low)
            at_left = misfit(left)
        else:
            low, left, at_left = left, right, at_right
            right = low + _GOLDEN * (high - low)
            at_right = misfit(right)
    return (low + high) / 2


# A turn is straight unless end and start, fitted apart, lie further apart than this and fit much better so.
PAUSE_S = 0.035
# Edges a side that decide about a pause, by parabolas; the straight turn itself takes all edges and a cubic.
_NEAR = 4
# Squared residual per edge, edge spacings^2, that says a turnaround is not what it seems.
_BAD = 1e-3
# An edge so near the vertex (edge spacings) says nothing of the time and may belong to either side.
_TOO_NEAR = 0.06


def fit_straight_or_paused(before, after):
    # type: (Side, Side) -> tuple[float, float]
    """End of one rep and start of the next, seconds: the same instant where the wheel turns straight round.

    Leaves distance and curvature of both sides at the answer.
    """
    low = before.us[0]
    high = after.us[0]
    near_before = before.part(0, _NEAR)
    near_after = after.part(0, _NEAR)
    end = _fit_alone(near_before, low, high)
    start = _fit_alone(near_after, low, high)
    if start - end > max(PAUSE_S, 0.1 * (high - low)):
        apart = bounded(near_before, end, False) + bounded(near_after, start, False)
        both = _common(near_before, near_after, low, high, False)
        if bounded(near_before, both, False) + bounded(near_after, both, False) > 4.0 * apart + 1e-3:
            near_before.misfit(end, False)
            near_after.misfit(start, False)
            before.take(near_before)
            after.take(near_after)
            return end, start
    bent = len(after.us) > 5
    both = _common(before, after, low, high, bent)
    if _misfit_at(before, after, both, bent) > _BAD * (len(before.us) + len(after.us)):
        _allow_missed(before, after, low, high, bent)
        both = before.vertex
    skip_before = before.distance < _TOO_NEAR and len(before.us) > 5
    skip_after = after.distance < _TOO_NEAR and len(after.us) > 5
    if skip_before or skip_after:
        # The distances stay those to the nearest edges; only the time is better known without them.
        far_before = before.part(1 if skip_before else 0, 99)
        far_after = after.part(1 if skip_after else 0, 99)
        both = _common(far_before, far_after, far_before.us[0], far_after.us[0], bent)
    return both, both


def _misfit_at(before, after, t, bent):
    # type: (Side, Side, float, bool) -> float
    return bounded(before, t, False) + bounded(after, t, bent)


def _allow_missed(before, after, low, high, bent):
    # type: (Side, Side, float, float, bool) -> None
    """Solve again with a magnet missed beside the turnaround, and keep that where it is far better."""
    at = before.vertex
    least = 0.2 * _misfit_at(before, after, at, bent)
    reaches = (1.0, 1.0)
    for pair in ((2.1, 1.0), (1.0, 2.1), (2.1, 2.1)):
        before.most, after.most = pair
        t = _common(before, after, low, high, bent)
        misfit = _misfit_at(before, after, t, bent)
        if misfit < least:
            least = misfit
            at = t
            reaches = pair
    before.most, after.most = reaches
    _misfit_at(before, after, at, bent)


def _common(before, after, low, high, bent):
    # type: (Side, Side, float, float, bool) -> float
    """Seconds of the vertex that both sides share; leaves both sides solved there.

    bent: the pull after the vertex weakens as the strap runs faster, a cubic; the braking before it is steady.
    """

    def misfit(t):
        # type: (float) -> float
        return bounded(before, t, False) + bounded(after, t, bent)

    at = search(misfit, low, high, 12)
    misfit(at)
    return at


def bounded(side, t, cubic):
    # type: (Side, float, bool) -> float
    """Misfit with the vertex at ``t``; the wheel turned less than one spacing or so beyond the nearest edge."""
    value = side.misfit(t, cubic)
    beyond = max(side.distance - side.most, -side.distance, 0.0)
    return value + 0.1 * beyond * beyond


def fits_better_without_first(side, shorter, low, high):
    # type: (Side, Side, float, float) -> bool
    """True where the edge nearest the vertex is a stray one: the rest, ``shorter``, goes together far better alone."""
    at = _fit_alone(side, low, high)
    all_of_it = bounded(side, at, False)
    at = _fit_alone(shorter, min(low, shorter.us[0]), max(high, shorter.us[0]))
    return all_of_it > 6.0 * bounded(shorter, at, False) + 0.01


def fit_end(before, latest):
    # type: (Side, float) -> float
    """Seconds at which the wheel came to rest, from the edges before alone; it lies within one spacing of them."""
    return _fit_alone(before, before.us[0], min(latest, before.us[0] + 1.5))


def fit_start(after, earliest):
    # type: (Side, float) -> float
    """Seconds at which the wheel started from rest, from the edges after alone."""
    return _fit_alone(after, max(earliest, after.us[0] - 1.5), after.us[0])


def _fit_alone(side, low, high):
    # type: (Side, float, float) -> float
    at = search(lambda t: bounded(side, t, False), low, high, 16)
    side.misfit(at, False)
    return at
