"""Edges on one side of a standstill, and how well they fit a vertex: the time and angle at which the wheel stood.

Near a turnaround the angle follows d = c0 + c2 u^2 + c3 u^3 in the time u to the vertex, with a constant of its own
on either side (hysteresis shifts one side against the other) and an acceleration of its own (friction changes its
sign). For a vertex time all of it is linear. Many times are tried for the same edges, so their sums are taken once.
"""

from micropython import const

# The wheel was moved while it stood: so many squared standard deviations, at most, speak against it.
MOVED_CHI = const(12.0)
# A pull from rest is placed by the edges up to this angle from the vertex (at least 4), with this much cubic share.
_NEAR_RAD = const(5.0)
_NEAR_BEND = const(0.03)
# Such a pull weakens faster than one that goes on from a brake, by about this factor.
_NEAR_WEAKER = const(1.8)
# A pull from rest takes about so long to build up, seconds (common practice, no source).
BUILD_S = const(0.04)
# Where torque fades each vertex costs all edges: of more than this, those beyond the nearest few are thinned.
_DENSE = const(11)
_NEAREST = const(5)
# How a brake's torque fades into the pull's is not known that well: edges there count as that many times as noisy.
_FADE_NOISE = const(2.0)
# Cubic share of a brake that still builds up, its standard deviation.
_LOOSE_BEND = const(0.5)
# The edges do not carry a vertex there.
_NO_FIT = (0.0, 0.0, 0.0, 0.0, 0.0)
# Share of a sum that some ten operations in single precision may be off by: far from the edges two huge sums are nearly
# alike, and what is rounded away must not look like a good fit.
_ROUNDED = const(5e-7)


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
        self.rad2 = 1.0  # square of a spacing, rad
        self.stride = 1  # magnets from one edge to the next: of a thinned stretch not all were stored
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
        self.doubt = 0.0  # the same with what it costs that magnets were missed, where that was tried
        self.taken = None  # type: Any  # curvature, jerk, ``build_s`` and ``carried`` of a solution that was taken
        self.told_s = 0.0  # so far from the vertex the solution holds, where that is not far
        self.placed = None  # type: Any  # what ``place`` found, with the other side
        self.sums = None  # type: Any  # of ``us`` and ``xs``, once they have been asked for

    def part(self, first, count):
        # type: (int, int) -> Side
        """A side of ``count`` edges from the ``first`` on."""
        side = Side(self.us[first : first + count], self.xs[first : first + count])
        side.noise = self.noise
        side.rad2 = self.rad2
        side.reach_rad = self.reach_rad * (0.5 - side.xs[-1]) / (0.5 - self.xs[-1])
        share = side.xs[-1] / self.xs[-1] if self.xs[-1] else 1.0
        side.bend = self.bend * share
        side.bend_spread = self.bend_spread * share
        side.stride = self.stride
        side.missed = self.missed
        side.lag = self.lag
        side.lag_room = self.lag_room
        side.lag_spread = self.lag_spread
        side.slack = self.slack
        side.expected = self.expected
        return side

    def near(self):
        # type: () -> Side
        """The nearest edges, behind a pull from rest: it builds up first."""
        side = self.part(0, max(4, int(len(self.us) * _NEAR_RAD / max(0.1, self.reach_rad))))
        side.bend *= _NEAR_WEAKER
        side.bend_spread = min(side.bend_spread, _NEAR_BEND)
        side.build_s = BUILD_S
        return side

    def loose(self):
        # type: () -> Side
        """The nearest edges of a brake that still builds up: any cubic share."""
        side = self.part(0, max(5, len(self.us) // 2))
        side.bend = 0.0
        side.bend_spread = _LOOSE_BEND
        return side

    def loosen(self, bend_spread):
        # type: (float) -> None
        """Let the cubic share scatter by ``bend_spread``: what has been worked out with another one is void."""
        if bend_spread != self.bend_spread:
            self.bend_spread = bend_spread
            self.sums = None

    def carrying(self, share):
        # type: (float) -> Side
        """These edges, behind a pull that takes over from a brake of another torque within ``share`` of the usual
        time."""
        side = self.part(0, len(self.us))
        if len(side.us) > _DENSE:
            side.us = side.us[:_NEAREST] + side.us[_NEAREST::2]
            side.xs = side.xs[:_NEAREST] + side.xs[_NEAREST::2]
        side.build_s = share * BUILD_S
        side.noise *= _FADE_NOISE
        return side

    def solution(self):
        # type: () -> Any
        """What was found at the vertex that was solved last, for ``take``."""
        motion = (self.curvature, self.jerk, self.build_s, self.carried)
        return self.distance, self.variance, motion, self.vertex, self.chi

    def take(self, solution):
        # type: (Any) -> None
        """A solution of this side, or of another one with the same nearest edge."""
        self.distance, self.variance, self.taken, self.vertex, self.chi = solution

    def misfit(self, vertex):
        # type: (float) -> float
        """Squared standard deviations with the vertex at ``vertex`` seconds; keeps the solution."""
        self.vertex = vertex
        sums = self.sums or self._sum_up()
        fitted = sums[6].get(vertex)
        if not fitted:
            fitted = self._fit(vertex)
            if not self.build_s:
                # Asked for again with magnets missed beside the turnaround.
                sums[6][vertex] = fitted
        total, c0, c2, unsure, jerk = fitted
        self.curvature = c2 / sums[2]
        self.jerk = jerk
        if not unsure:
            return 1e9
        variance = self.noise * self.noise
        self.distance = c0
        self.variance = variance * unsure
        total /= variance
        # The nearest edge that was not missed lies within one spacing of the vertex (or a stride), and below it.
        beyond = max(c0 - self.missed - self.stride, self.missed - self.slack - c0, 0.0)
        total += beyond * beyond / (self.variance + 4.0 * variance + 1e-4)
        if self.expected is not None:
            off = max(0.0, abs(c0 - self.missed - self.expected) - self.lag_room)
            total += min(MOVED_CHI, off * off / (self.variance + self.lag_spread * self.lag_spread))
        self.chi = total if c2 < 0.0 else total + 1e3
        return self.chi

    def _sum_up(self):
        # type: () -> Any
        """What ``_fit`` needs of the edges: polynomials that are orthogonal on them (Forsythe's way, which single
        precision bears), each one's share in the angles, and what all of them leave.

        They run in z, from -1 at the nearest edge to 1 at the farthest one, and their highest power has no factor.
        """
        us = self.us
        first = us[0]
        scale = abs(us[-1] - first) or 1e-3
        zs = [2.0 * abs(u - first) / scale - 1.0 for u in us]
        count = len(zs)
        rest = self.xs[:]
        values = [1.0] * count
        before = [0.0] * count
        size = float(count)
        last = 1.0
        powers = [1.0, 0.0, 0.0, 0.0]
        powers_before = [0.0] * 4
        found = []
        for degree in range(4):
            share = middle = 0.0
            for k in range(count):
                value = values[k]
                share += rest[k] * value
                middle += zs[k] * value * value
            share /= size
            middle /= size
            found.append((share, 1.0 / size, powers))
            for k in range(count):
                rest[k] -= share * values[k]
            if degree == 3 or degree + 2 > count:
                break
            back = size / last if degree else 0.0
            last = size
            size = 0.0
            for k in range(count):
                value = (zs[k] - middle) * values[k] - back * before[k]
                before[k] = values[k]
                values[k] = value
                size += value * value
            if size <= 1e-9:
                break
            higher = [
                (powers[k - 1] if k else 0.0) - middle * powers[k] - back * powers_before[k] for k in range(4)
            ]
            powers_before = powers
            powers = higher
        left = 0.0
        for value in rest:
            left += value * value
        self.sums = (first, scale, scale * scale, left, found, rest, {})
        return self.sums

    def _fit(self, vertex):
        # type: (float) -> tuple[float, float, float, float, float]
        """Sum of squares, distance, curvature in ``scale``, the distance's variance, an edge's being 1 (0: none), and
        jerk, for one vertex.

        A cubic whose slope is 0 there: one condition on the shares of the orthogonal polynomials, each of which gives
        way by as much as it is unsure. Where the torque builds up behind the vertex, u^2 gives way to u^3 / 3 b up to b
        seconds and u^2 - b u + b^2 / 3 from there on: a cubic with another condition, where no edge lies in between.
        """
        first, scale, square, left, found, _, _ = self.sums
        d = abs(first - vertex) / scale
        build = self.build_s / scale
        if d < build or len(found) < 4:
            return self._fit_directly(vertex)
        (a0, w0, _), (a1, w1, p1), (a2, w2, p2), (a3, w3, p3) = found
        z = -1.0 - 2.0 * d
        # Of each polynomial: half its slope there, and what it is there.
        slope2 = 2.0 * z + p2[1]
        m1 = z + p1[0]
        m2 = (z + p2[1]) * z + p2[0]
        off = a1
        if build:
            slope2 += 2.0 * build
            m2 -= 4.0 / 3.0 * build * build
            carried = self.carried * square * build
            off += carried / 2.0
            a0 -= carried * build / 3.0
        off += a2 * slope2
        unsure2 = w2 * slope2
        loose = w1 + unsure2 * slope2
        both = w1 * m1 + unsure2 * m2
        variance = w0 + w1 * m1 * m1 + w2 * m2 * m2
        distance = a0 + a1 * m1 + a2 * m2
        if not (self.bend_spread or self.bend):
            # A parabola.
            left += a3 * a3 / w3
            off /= loose
            c2 = 4.0 * (a2 - off * unsure2)
            jerk = 0.0
        else:
            a3, w3, cost = self._held(a3, w3, (1.0 + d) * (1.0 + d) * (1.0 + d))
            left += cost
            twist = 3.0 * z + p3[2]
            slope3 = (twist + p3[2]) * z + p3[1]
            m3 = ((z + p3[2]) * z + p3[1]) * z + p3[0]
            if build:
                slope3 += 2.0 * twist * build
                m3 -= 4.0 / 3.0 * build * build * twist
            unsure3 = w3 * slope3
            off += a3 * slope3
            loose += unsure3 * slope3
            both += unsure3 * m3
            variance += w3 * m3 * m3
            distance += a3 * m3
            off /= loose
            a3 -= off * unsure3
            c2 = 4.0 * (a2 - off * unsure2 + a3 * twist)
            jerk = 8.0 * a3 / (square * scale)
        variance -= both * both / loose
        if not 0.0 < variance < 1e6:
            return _NO_FIT
        return left + off * off * loose, distance - off * both, c2, variance, jerk

    def _held(self, share, unsure, cube):
        # type: (float, float, float) -> tuple[float, float, float]
        """The third polynomial's share and variance by what experience tells of the bend, and what that costs."""
        reach = 0.5 - self.xs[-1]
        odd = share + self.bend * reach / (8.0 * cube)
        if not self.bend_spread:
            return share - odd, 0.0, odd * odd / unsure
        stiff = 8.0 * self.noise * cube / (self.bend_spread * reach)
        stiff *= stiff
        yields = 1.0 / (1.0 + stiff * unsure)
        stiff *= odd * yields
        return share - stiff * unsure, unsure * yields, stiff * odd

    def _fit_directly(self, vertex):
        # type: (float) -> tuple[float, float, float, float, float]
        """The same for few edges, or with some where the torque still builds up: sums over all of them."""
        first, scale, square, left, found, rest, _ = self.sums
        d = abs(first - vertex) / scale
        c0, b1, b2, b3 = _seen(found, d)
        reach = 0.5 - self.xs[-1]
        cube = (1.0 + d) * (1.0 + d) * (1.0 + d)
        bent = self.bend * reach / cube
        odd = b3 + bent
        build = self.build_s / scale
        lag = b2 + self.carried * square
        held = odd
        left = n6 = y3 = 0.0
        if self.bend_spread > 0.0 and len(rest) > 3:
            n6 = (self.noise / (self.bend_spread * reach) * cube) ** 2
            y3 = -n6 * odd
            left = n6 * odd * odd
            held = 0.0
        free = n6
        n3 = p2 = p4 = p5 = y0 = y2 = 0.0
        for k in range(len(rest)):
            s = abs(self.us[k] - vertex) / scale
            cube = s * s * s
            grown = s * s
            # What the cubic that is seen leaves, but for its own constant, square and cube.
            y = rest[k] + b1 * s + held * cube
            if build:
                grown = cube / (3.0 * build) if s < build else grown - build * s + build * build / 3.0
                y += lag * (s * s - grown)
            p2 += grown
            p4 += grown * grown
            n3 += cube
            p5 += grown * cube
            y0 += y
            y2 += y * grown
            left += y * y
            if free:
                n6 += cube * cube
                y3 += y * cube
        e0, e2, e3, weight, told = _solve(float(len(rest)), p2, n3, p4, p5, n6, y0, y2, y3)
        if not weight:
            return _NO_FIT
        jerk = (b3 - held + e3) / (square * scale)
        return max(_ROUNDED * left, left - told), c0 + e0, b2 + e2, 1.0 / weight, jerk


def speed(motion, u):
    # type: (tuple[float, float, float, float], float) -> float
    """Edge spacings a second ``u`` seconds from the vertex of a side's motion."""
    # Path below the vertex = curvature u^2 + jerk u^3 (negative), edge spacings; the curvature builds up at first,
    # while another one that was carried over fades.
    curvature, jerk, build_s, carried = motion
    built = u * u / build_s if u < build_s else 2.0 * u - build_s
    return carried * (2.0 * u - built) - curvature * built - 3.0 * jerk * u * u


def _seen(found, d):
    # type: (Any, float) -> tuple[float, float, float, float]
    """The polynomials' sum in times from a vertex ``d`` before the nearest edge. Its slope there is what no vertex
    has."""
    a0, a1, a2, a3 = [sum([share * powers[k] for share, _, powers in found]) for k in range(4)]
    z = -1.0 - 2.0 * d
    b1 = 2.0 * (a1 + z * (2.0 * a2 + 3.0 * z * a3))
    return a0 + z * (a1 + z * (a2 + z * a3)), b1, 4.0 * (a2 + 3.0 * z * a3), 8.0 * a3


def _solve(n0, n2, n3, n4, n5, n6, y0, y2, y3):
    # type: (float, float, float, float, float, float, float, float, float) -> tuple[float, float, float, float, float]
    """Least squares c0 + c2 s^2 + c3 s^3 from sums of powers of s (n) and of their products with the angle (y).

    n6 is 0 where there is no cubic share. Returns c0, c2, c3, the weight of c0 (0: the edges do not carry it) and the
    sum of squares that the three explain.
    """
    f = g = c3 = told = 0.0
    if n6:
        f = n5 / n6
        g = n3 / n6
        n4 -= f * n5
        n2 -= f * n3
        n0 -= g * n3
        y2 -= f * y3
        y0 -= g * y3
        c3 = y3 / n6
        told = y3 * c3
    h = n2 / n4 if n4 > 1e-9 else 0.0
    weight = n0 - h * n2
    if weight <= 1e-6 or n4 <= 1e-9:
        return 0.0, 0.0, 0.0, 0.0, 0.0
    y0 -= h * y2
    c0 = y0 / weight
    c2 = (y2 - n2 * c0) / n4
    if n6:
        c3 -= g * c0 + f * c2
    return c0, c2, c3, weight, told + y0 * c0 + y2 * y2 / n4
