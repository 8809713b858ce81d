"""Walks over edges towards a turnaround and tells the real ones from stray ones, and where magnets were missed.

Towards a turnaround (either one: after it, walk back in time) the wheel slows down steadily. A Kalman filter carries
position, speed and acceleration from edge to edge, foretells where the wheel is when the next edge comes and how sure
that is. Each edge is read as the next magnet's, as that of one further on (those between were missed) or as a stray
one; the likeliest few readings go on side by side.
"""

from math import log

from micropython import const

# -log of how likely a stray edge is in a second, and a missed magnet.
STRAY = 0.7
MISSED = 4.2
# What a real edge is likelier by than a stray one, about.
REAL = 4.0
# Stray edges in a row, at most.
_STRAYS_MOST = const(3)
# Magnets missed in a row plus 1, at most, where the way since the last edge is not known within a magnet.
_STEPS_MOST = const(3)
# Half of this many squared standard deviations is more than any other reading costs.
_HOPELESS = const(36.0)
# The wheel was moved while it stood: -log of how likely that is, about.
_MOVED = const(6.0)
# A speed below 0 by this many squared standard deviations is no error.
_STOOD = const(1.0)
# Readings that are unlikelier than the best by exp(-this) are dropped.
_WORSE_MOST = const(14.0)
# How fast the acceleration may wander: by its own uncertainty within so much of the time that it takes to stop.
_WANDER = const(2.86)


class Trail:
    """One reading of the edges so far, ending in a real edge; linked back to the one that it grew from."""

    def __init__(self, parent, place, step, cost):
        # type: (Trail | None, int, int, float) -> None
        self.parent = parent
        self.place = place  # of the last real edge, counted from the far end
        self.step = step  # spacings from the real edge before
        self.count = 0  # spacings from the first real edge
        self.edges = 1  # real ones
        self.cost = cost  # -log likelihood
        self.pace = 1.0  # speed at the far end
        self.chi = 0.0  # squared standard deviations
        if parent:
            self.count = parent.count + step
            self.edges = parent.edges + 1
            self.chi = parent.chi
            self.pace = parent.pace
        # Seconds of the last real edge; position, speed, acceleration there.
        self.at = ()  # type: Any
        # Their variances and covariances: xx, xv, xa, vv, va, aa.
        self.spread = ()  # type: Any

    def missed(self):
        # type: () -> int
        """Magnets missed between its real edges."""
        return self.count - self.edges + 1

    def strays(self):
        # type: () -> int
        """Stray edges before its last real one."""
        return self.place - self.edges + 1

    def unseen(self, expected):
        # type: (float | None) -> float
        """What speaks against a vertex right behind it: magnets that must have been missed on the way there.

        expected: spacings from the last magnet passed to the vertex, where they are known.
        """
        _, _, v, a = self.at
        v = max(v, 0.0)
        a = min(a, -1e-3 * self.pace)
        left = -0.5 * v * v / a
        by_v = -v / a
        by_a = -left / a
        xx, _, _, vv, va, aa = self.spread
        variance = by_v * (by_v * vv + 2.0 * by_a * va) + by_a * by_a * aa + xx + 0.01
        least = 1e9
        for missed in range(3):
            off = max(0.0, left - missed - 1.0) if expected is None else left - missed - expected
            cost = missed * MISSED
            least = min(least, cost + 0.5 * off * off / variance)
        return least if expected is None else min(least, _MOVED)

    def places(self):
        # type: () -> list[tuple[int, int]]
        """(place, spacings from the first real edge) of each real edge, the last one first."""
        found = []
        trail = self  # type: Trail | None
        while trail:
            found.append((trail.place, trail.count))
            trail = trail.parent
        return found


class Walk:
    """All that a walk needs to know: seconds of the edges (far end first), offsets, and the motion at the far end.

    offset(count): offset of the magnet that is ``count`` spacings from the far end. unsure: standard deviation of
    ``speed`` (spacings per second) as a share of it; loose: of the ``acceleration``; noise: of an edge, spacings.
    """

    def __init__(self, us, offset, speed, unsure, acceleration, loose, noise):
        # type: (list[float], Any, float, float, float, float, float) -> None
        self.us = us
        self.offset = offset
        self.speed = speed
        self.unsure = unsure
        self.acceleration = acceleration
        self.loose = loose
        self.noise = noise
        self.late = 0  # edges at the far end that may be stray
        self.stops = []  # type: list[Trail]  # every reading that may be the last before the vertex
        # Variance that the acceleration gains in a second.
        self._wander = _WANDER * loose * loose * loose / speed

    def run(self, width):
        # type: (int) -> None
        """Fill ``stops``, with no more than ``width`` readings side by side."""
        self.stops = []
        live = []  # type: list[Trail]
        for place in range(len(self.us)):
            grown = []  # type: list[tuple[float, Trail | None, int, Any]]
            if place <= self.late:
                grown.append((STRAY * place, None, 0, None))
            for trail in live:
                if place - trail.place <= _STRAYS_MOST:
                    grown.append((trail.cost + STRAY * (place - trail.place), trail, 0, None))
                self._grow(trail, place, grown)
            if not grown:
                return
            grown.sort(key=_cost)
            limit = grown[0][0] + _WORSE_MOST
            live = []
            seen = []  # type: list[tuple[int, int, int]]
            for cost, parent, step, ahead in grown:
                if cost > limit or len(live) >= width:
                    break
                if ahead is None and parent is not None:
                    trail = parent
                else:
                    trail = (
                        self._begin(place)
                        if parent is None
                        else self._extend(parent, place, step, cost, ahead)
                    )
                    if trail.edges > 2:
                        self.stops.append(trail)
                # Readings that differ only in what is long past go on as one.
                key = (
                    trail.place,
                    trail.step,
                    trail.parent.place if trail.parent else -1,
                )
                if key not in seen:
                    seen.append(key)
                    live.append(trail)

    def _begin(self, place):
        # type: (int) -> Trail
        trail = Trail(None, place, 0, STRAY * place)
        speed = trail.pace = self.speed
        per_speed = 2.0 * self.acceleration / speed
        variance = (self.unsure * speed) ** 2
        trail.at = (self.us[place], self.offset(0), speed, self.acceleration)
        trail.spread = (
            self.noise * self.noise,
            0.0,
            0.0,
            variance,
            per_speed * variance,
            per_speed * per_speed * variance + self.loose * self.loose,
        )
        return trail

    def _grow(self, trail, place, grown):
        # type: (Trail, int, list[Any]) -> None
        """Add the readings of the edge at ``place`` as a real one after ``trail``."""
        then, x, v, a = trail.at
        dt = self.us[place] - then
        xx, xv, xa, vv, va, aa = trail.spread
        half = 0.5 * dt * dt
        q = self._wander * dt
        x += v * dt + a * half
        v += a * dt
        xx += dt * (2.0 * xv + dt * vv) + half * (2.0 * (xa + dt * va) + half * aa) + q * half * half / 5.0
        xv += dt * (vv + xa) + half * (3.0 * va + dt * aa) + q * half * dt / 4.0
        xa += dt * va + half * aa + q * half / 3.0
        vv += dt * (2.0 * va + dt * aa) + q * half * 2.0 / 3.0
        va += dt * aa + q * dt / 2.0
        aa += q
        if v < 0.0 and v * v > _STOOD * vv:
            # It would have stood and turned back long ago.
            return
        total = xx + self.noise * self.noise
        ahead = None
        sure = trail.cost + STRAY * (place - 1 - trail.place)
        nearest = int(x - trail.count + 0.5)
        for step in range(max(1, nearest - 1), max(2, nearest + 2)):
            if step > _STEPS_MOST and total > 1.0:
                break
            count = trail.count + step
            off = count + self.offset(count) - x
            square = off * off / total
            if square > _HOPELESS:
                continue
            if ahead is None:
                ahead = (x, v, a, xx, xv, xa, vv, va, aa, total)
            # Likelihood per second of an edge right now.
            cost = sure + 0.5 * (square + log(6.2832 * total)) - log(max(v, 0.02 * self.speed))
            grown.append((cost + (step - 1) * MISSED, trail, step, ahead))

    def _extend(self, parent, place, step, cost, ahead):
        # type: (Trail, int, int, float, Any) -> Trail
        trail = Trail(parent, place, step, cost)
        x, v, a, xx, xv, xa, vv, va, aa, total = ahead
        off = trail.count + self.offset(trail.count) - x
        kx = xx / total
        kv = xv / total
        ka = xa / total
        trail.chi = parent.chi + off * off / total
        trail.at = (self.us[place], x + kx * off, v + kv * off, a + ka * off)
        trail.spread = (
            xx - kx * xx,
            xv - kx * xv,
            xa - kx * xa,
            vv - kv * xv,
            va - kv * xa,
            aa - ka * xa,
        )
        return trail


def _cost(grown):
    # type: (Any) -> Any
    return grown[0]
