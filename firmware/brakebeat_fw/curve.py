"""One rep as angle against time, looked at through a short window that slides along it."""

from array import array

import micropython
from micropython import const

from .polynomial import polynomial

# Times the mean residual beyond which a point is an outlier: 5 standard deviations of a normal.
_OUTLIER = 6.0
# So many points tell the noise, about.
_ENOUGH = const(24)
# A point that is no further off the cubic through its four neighbours, times the noise of one, is no outlier; nor is
# one that is no further off the cubic through nine, which is usual or little more.
_SUSPECT = const(3.0)
# Points nearer to each other in time than this, microseconds, tell little more than one.
_DENSE_US = const(8000)
# Ticks' mask and half: a difference that is not negative is less than half, however wide viper's integers are.
_MASK = const(0x3FFFFFFF)
_HALF = const(0x20000000)
# Time between two points that have the same.
_NO_TIME_US = const(1e-3)


@micropython.viper
def _around(us: ptr32, work: ptr32):
    """``work`` holds a time, half a width, least points and the last place; then it holds the place at or before that
    time (the last one left out), and the first and last place of the window."""
    at = work[0]
    half = work[1]
    least = work[2]
    most = work[3]
    place = 0
    beyond = most
    while beyond - place > 1:
        k = place + beyond >> 1
        if (at - us[k]) & _MASK < _HALF:
            place = k
        else:
            beyond = k
    first = place + 1
    last = place
    while first > 0 and (us[first - 1] - at + half) & _MASK < _HALF:
        first -= 1
    while last < most and (at + half - us[last + 1]) & _MASK < _HALF:
        last += 1
    while last - first + 1 < least and (first > 0 or last < most):
        # The nearer one of the two beside it.
        if last == most or (first > 0 and (us[first - 1] - at + us[last + 1] - at - 1) & _MASK < _HALF):
            first -= 1
        else:
            last += 1
    work[0] = place
    work[1] = first
    work[2] = last


class Curve:
    """Points of one rep between its turnarounds, both included. Whole numbers, which viper can sum up.

    us: microseconds from the start; xs: the path from the start turnaround, in units of ``part_rad``.
    """

    def __init__(self, count, part_rad):
        # type: (int, float) -> None
        self.us = array("i", [0] * count)
        self.xs = array("i", [0] * count)
        self.part_rad = part_rad
        self.count = count
        self.mirrored = 0  # points beyond either turnaround
        self.duration_s = 0.0
        self.total_rad = 0.0
        self.noise_rad = 0.0  # standard deviation of one point
        # The last polynomial of ``speed_at``: its points and degree, the angles that it was fitted to, and itself.
        self._key = (0, 0, 0)
        self._of = None  # type: Any
        self._fitted = None  # type: Any
        self._work = array("i", [0] * 4)

    def measure_noise(self, first, last):
        # type: (int, int) -> None
        """Noise of one point, from how far each lies off the cubic through its four neighbours (``first`` to ``last``).

        Only the middle half counts: there the points are dense and the cubic is true.
        """
        quarter = (last - first) // 4
        strays = self.strays(first + 2 + quarter, last - 1 - quarter)
        mean = 0.05
        for _ in range(2):
            # Twice: what is far beyond the usual is no noise but an edge that was taken for another.
            total = 0.0
            count = 0
            for stray in strays:
                if stray < 4.0 * mean:
                    total += stray
                    count += 1
            mean = total / count if count else 0.0
        # Var(point - interpolated) is 1 + 34/36 times the point's; mean |x| of a normal is 0.8 sd.
        self.noise_rad = mean / 0.8 / 1.394

    def strays(self, first, last):
        # type: (int, int) -> list[float]
        """How far each point from ``first`` to before ``last`` is off the cubic through its four neighbours, radians.

        The divided difference of all five times the point's distances in time from the four (Newton).
        """
        us = self.us
        xs = self.xs
        part_rad = self.part_rad
        found = []
        t3 = t2 = t1 = t0 = -1000000
        gap1 = gap2 = wide1 = wide2 = wide = x3 = once = twice = thrice = 0.0
        for k in range(first - 2, last + 2):
            t4 = us[k]
            x4 = xs[k]
            # Two points may have one time where a turnaround lies right at an edge: no cubic says anything.
            gap = t4 - t3 or _NO_TIME_US
            wide2, wide1, wide = wide1, wide, t4 - t2 or _NO_TIME_US
            slope = (x4 - x3) / gap
            bend = (slope - once) / wide
            twist = (bend - twice) / (t4 - t1 or _NO_TIME_US)
            if k >= first + 2:
                off = (twist - thrice) / (t4 - t0) * wide * gap1 * gap2 * wide2
                found.append(abs(off) * part_rad)
            gap2, gap1 = gap1, gap
            t0, t1, t2, t3 = t1, t2, t3, t4
            x3 = x4
            once = slope
            twice = bend
            thrice = twist
        return found

    def drop_outliers(self):
        # type: () -> int
        """Leave out single points far off the cubic through nine of their kind; returns how many.

        What is left of stray edges that were taken for magnets: a little off in time, right in count.
        """
        count = self.count
        off = array("f", [0.0] * count)
        # Those need a fit that stand out among four neighbours.
        suspect = _SUSPECT * self.noise_rad
        worst = 0.0
        k = 5
        for stray in self.strays(5, count - 5):
            if stray > suspect:
                off[k] = self._off(k)
                worst = max(worst, off[k])
            k += 1
        if worst <= suspect:
            return 0
        # Some points tell what is usual.
        total = 0.0
        judged = 0
        every = max(4, count // _ENOUGH)
        for k in range(5 + (-5) % every, count - 5, every):
            off[k] = off[k] or self._off(k)
            total += min(off[k], 4.0 * self.noise_rad) if self.noise_rad else off[k]
            judged += 1
        if not judged:
            return 0
        limit = _OUTLIER * total / judged
        kept = 0
        for k in range(self.count):
            if off[k] > limit and off[k] >= off[k - 1] and off[k] >= off[k + 1]:
                continue
            self.us[kept] = self.us[k]
            self.xs[kept] = self.xs[k]
            kept += 1
        dropped = self.count - kept
        self.count = kept
        return dropped

    def thin(self, end_rad):
        # type: (float) -> None
        """Up to the angle ``end_rad``, put pairs of points together where they are dense in time: a pull is smooth."""
        us = self.us
        xs = self.xs
        end = int(end_rad / self.part_rad)
        kept = k = self.mirrored + 1
        while k < self.count:
            t = us[k]
            x = xs[k]
            if x < end and us[k + 1] - t < _DENSE_US:
                k += 1
                t = (t + us[k]) >> 1
                x = (x + xs[k]) >> 1
            us[kept] = t
            xs[kept] = x
            kept += 1
            k += 1
        self.count = kept

    def _off(self, k):
        # type: (int) -> float
        """How far point ``k`` is off the cubic through nine of its kind, radians."""
        return abs(self.xs[k] * self.part_rad - value(self.fit(k - 4, k + 4, 3), self.us[k] * 1e-6))

    def half_width(self, acceleration_rad_s2, share):
        # type: (float, float) -> float
        """Half window in seconds for a parabola whose acceleration has a noise of ``share`` of the one given.

        For M even points over +-h the acceleration's sd is noise sqrt(45/M)/h^2 (least squares, uniform design).
        """
        rate = self.count / max((self.us[self.count - 4] - self.us[3]) * 1e-6, 1e-3)
        return (self.noise_rad * (22.5 / rate) ** 0.5 / (share * acceleration_rad_s2)) ** 0.4

    def nearest(self, t):
        # type: (float) -> int
        """Place of the point at or before ``t`` seconds, the last one left out."""
        self.window(t, 0.0, 0)
        return self._work[0]

    def window(self, t, half_s, least):
        # type: (float, float, int) -> tuple[int, int]
        """First and last place of the points within ``half_s`` of ``t``, widened to ``least`` points."""
        work = self._work
        work[0] = int(t * 1e6 + 0.5)
        work[1] = int(half_s * 1e6)
        work[2] = least
        work[3] = self.count - 1
        _around(self.us, work)  # type: ignore[arg-type]
        return work[1], work[2]

    def fit(self, first, last, degree):
        # type: (int, int, int) -> tuple[float, ...]
        """Polynomial of the angle over places first to last: four coefficients in (time - middle) / scale, this middle
        and that scale in seconds."""
        part_rad = self.part_rad
        found = polynomial(self.us, self.xs, first, last, min(degree, last - first))
        if found:
            c0, c1, c2, c3, middle_us, scale_us = found
            return (
                c0 * part_rad,
                c1 * part_rad,
                c2 * part_rad,
                c3 * part_rad,
                middle_us * 1e-6,
                scale_us * 1e-6,
            )
        us = self.us
        base = self.xs[first]
        took_s = (us[last] - us[first]) * 1e-6
        slope = (self.xs[last] - base) * part_rad / took_s
        return base * part_rad, slope * took_s, 0.0, 0.0, us[first] * 1e-6, took_s

    def time_at(self, x):
        # type: (float) -> float
        """Seconds at which the path angle ``x`` is passed: a local cubic, solved by Newton's rule."""
        us = self.us
        xs = self.xs
        wanted = x / self.part_rad
        k = 0
        while k < self.count - 2 and xs[k + 1] < wanted:
            k += 1
        span = xs[k + 1] - xs[k]
        share = (wanted - xs[k]) / span if span > 0 else 0.0
        t = (us[k] + share * (us[k + 1] - us[k])) * 1e-6
        first, last = self.window(t, 0.0, 6)
        c0, c1, c2, c3, middle, scale = self.fit(first, last, 3)
        u = (t - middle) / scale
        for _ in range(4):
            slope = c1 + u * (2.0 * c2 + u * 3.0 * c3)
            if slope <= 0.0:
                break
            u -= (c0 + u * (c1 + u * (c2 + u * c3)) - x) / slope
        return middle + max(-1.0, min(1.0, u)) * scale

    def speed_at(self, t, half_s, least, degree):
        # type: (float, float, int, int) -> tuple[float, float]
        """Angular velocity (rad/s) and acceleration (rad/s^2) at ``t``."""
        first, last = self.window(t, half_s, least)
        # Close by the window often holds the same points, and the polynomial through them is the same.
        key = (first, last, degree)
        if key != self._key or self._of is not self.xs:
            self._key = key
            self._of = self.xs
            self._fitted = self.fit(first, last, degree)
        _, c1, c2, c3, middle, scale = self._fitted
        u = (t - middle) / scale
        return (c1 + u * (2.0 * c2 + u * 3.0 * c3)) / scale, (2.0 * c2 + u * 6.0 * c3) / (scale * scale)

    def angle_at(self, t):
        # type: (float) -> float
        """Path angle at ``t``: a local cubic."""
        first, last = self.window(t, 0.0, 4)
        return value(self.fit(first, last, 3), t)

    def newest_speeds(self):
        # type: () -> tuple[float, float]
        """Greatest speed over the newest dozen points of a rep under way, and the speed at the newest but one.

        The points mirrored beyond its end are left out: there is no turnaround.
        """
        self.count -= self.mirrored
        last = self.count - 2
        peak = 0.0
        for k in range(max(4, last - 12), last):
            peak = max(peak, self.speed_at(self.us[k] * 1e-6, 0.03, 7, 2)[0])
        return peak, self.speed_at(self.us[last] * 1e-6, 0.03, 7, 2)[0]


def value(fitted, t):
    # type: (tuple[float, ...], float) -> float
    """The angle that a fitted polynomial has at ``t``."""
    c0, c1, c2, c3, middle, scale = fitted
    u = (t - middle) / scale
    return c0 + u * (c1 + u * (c2 + u * c3))
