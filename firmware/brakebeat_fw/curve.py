"""One rep as angle against time, looked at through a short window that slides along it."""

from array import array

from micropython import const

from .fit import local

# Times the mean residual beyond which a point is an outlier: 5 standard deviations of a normal.
_OUTLIER = 6.0
# So many points tell the noise, about.
_ENOUGH = const(24)
# A point that is no further off the cubic through its four neighbours, times the noise of one, is no outlier; nor is
# one that is no further off the cubic through nine, which is usual or little more.
_SUSPECT = const(3.0)
# Points nearer to each other in time than this, seconds, tell little more than one.
_DENSE_S = const(0.008)
# Time between two points that have the same.
_NO_TIME_S = const(1e-9)


class Curve:
    """Points of one rep between its turnarounds, both included. Floats: built and read once a rep.

    ts: seconds from the start; xs: radians along the path from the start turnaround.
    """

    def __init__(self, count):
        # type: (int) -> None
        self.ts = array("f", [0.0] * count)
        self.xs = array("f", [0.0] * count)
        self.count = count
        self.mirrored = 0  # points beyond either turnaround
        self.duration_s = 0.0
        self.total_rad = 0.0
        self.noise_rad = 0.0  # standard deviation of one point
        # The last polynomial of ``speed_at``: its points and degree, the angles that it was fitted to, and itself.
        self._key = (0, 0, 0)
        self._of = None  # type: Any
        self._at = 0.0
        self._fitted = (0.0, 0.0, 0.0, 0.0)
        self._scale = 1.0

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
        ts = self.ts
        xs = self.xs
        found = []
        t3 = t2 = t1 = t0 = -1.0
        gap1 = gap2 = wide1 = wide2 = wide = x3 = once = twice = thrice = 0.0
        for k in range(first - 2, last + 2):
            t4 = ts[k]
            x4 = xs[k]
            # Two points may have one time where a turnaround lies right at an edge: no cubic says anything.
            gap = t4 - t3 or _NO_TIME_S
            wide2, wide1, wide = wide1, wide, t4 - t2 or _NO_TIME_S
            slope = (x4 - x3) / gap
            bend = (slope - once) / wide
            twist = (bend - twice) / (t4 - t1 or _NO_TIME_S)
            if k >= first + 2:
                off = (twist - thrice) / (t4 - t0) * wide * gap1 * gap2 * wide2
                found.append(abs(off))
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
            self.ts[kept] = self.ts[k]
            self.xs[kept] = self.xs[k]
            kept += 1
        dropped = self.count - kept
        self.count = kept
        return dropped

    def thin(self, end_rad):
        # type: (float) -> None
        """Up to the angle ``end_rad``, put pairs of points together where they are dense in time: a pull is smooth."""
        ts = self.ts
        xs = self.xs
        kept = k = self.mirrored + 1
        while k < self.count:
            t = ts[k]
            x = xs[k]
            if x < end_rad and ts[k + 1] - t < _DENSE_S:
                k += 1
                t = (t + ts[k]) / 2
                x = (x + xs[k]) / 2
            ts[kept] = t
            xs[kept] = x
            kept += 1
            k += 1
        self.count = kept

    def _off(self, k):
        # type: (int) -> float
        """How far point ``k`` is off the cubic through nine of its kind, radians."""
        return abs(self.xs[k] - self.fit(self.ts[k], k - 4, k + 4, 3)[0][0])

    def half_width(self, acceleration_rad_s2, share):
        # type: (float, float) -> float
        """Half window in seconds for a parabola whose acceleration has a noise of ``share`` of the one given.

        For M even points over +-h the acceleration's sd is noise sqrt(45/M)/h^2 (least squares, uniform design).
        """
        rate = self.count / max(self.ts[self.count - 4] - self.ts[3], 1e-3)
        return (self.noise_rad * (22.5 / rate) ** 0.5 / (share * acceleration_rad_s2)) ** 0.4

    def nearest(self, t, hint):
        # type: (float, int) -> int
        """Place of the point at or before ``t``, searched from ``hint``."""
        ts = self.ts
        k = min(max(hint, 0), self.count - 2)
        while k > 0 and ts[k] > t:
            k -= 1
        while k < self.count - 2 and ts[k + 1] <= t:
            k += 1
        return k

    def window(self, t, half_s, least, hint):
        # type: (float, float, int, int) -> tuple[int, int]
        """First and last place of the points within ``half_s`` of ``t``, widened to ``least`` points."""
        ts = self.ts
        k = self.nearest(t, hint)
        first = k + 1
        last = k
        while first > 0 and ts[first - 1] >= t - half_s:
            first -= 1
        while last < self.count - 1 and ts[last + 1] <= t + half_s:
            last += 1
        while last - first + 1 < least and (first > 0 or last < self.count - 1):
            left = t - ts[first - 1] if first > 0 else 1e9
            right = ts[last + 1] - t if last < self.count - 1 else 1e9
            if left < right:
                first -= 1
            else:
                last += 1
        return first, last

    def fit(self, t, first, last, degree):
        # type: (float, int, int, int) -> tuple[tuple[float, float, float, float], float]
        """Polynomial of the angle in (time - t) / scale over places first to last, and that scale in seconds."""
        ts = self.ts
        base = self.xs[first]
        scale = max(t - ts[first], ts[last] - t, 1e-6)
        answer = local(ts, self.xs, first, last, t, scale, min(degree, last - first))
        if answer is None:
            return (base, (self.xs[last] - base) * scale / (ts[last] - ts[first]), 0.0, 0.0), scale
        return (answer[0] + base, answer[1], answer[2], answer[3]), scale

    def time_at(self, x):
        # type: (float) -> float
        """Seconds at which the path angle ``x`` is passed: a local cubic, solved by Newton's rule."""
        k = 0
        while k < self.count - 2 and self.xs[k + 1] < x:
            k += 1
        span = self.xs[k + 1] - self.xs[k]
        share = (x - self.xs[k]) / span if span > 0 else 0.0
        t = self.ts[k] + share * (self.ts[k + 1] - self.ts[k])
        first, last = self.window(t, 0.0, 6, k)
        answer, scale = self.fit(t, first, last, 3)
        u = 0.0
        for _ in range(4):
            slope = answer[1] + u * (2.0 * answer[2] + u * 3.0 * answer[3])
            if slope <= 0.0:
                break
            u -= (answer[0] + u * (answer[1] + u * (answer[2] + u * answer[3])) - x) / slope
        return t + max(-1.0, min(1.0, u)) * scale

    def speed_at(self, t, half_s, least, degree, hint):
        # type: (float, float, int, int, int) -> tuple[float, float]
        """Angular velocity (rad/s) and acceleration (rad/s^2) at ``t``."""
        first, last = self.window(t, half_s, least, hint)
        # Close by the window often holds the same points, and the polynomial through them is the same.
        key = (first, last, degree)
        if key != self._key or self._of is not self.xs:
            answer, scale = self.fit(t, first, last, degree)
            self._key = key
            self._of = self.xs
            self._at = t
            self._fitted = answer
            self._scale = scale
        scale = self._scale
        _, c1, c2, c3 = self._fitted
        u = (t - self._at) / scale
        return (c1 + u * (2.0 * c2 + u * 3.0 * c3)) / scale, (2.0 * c2 + u * 6.0 * c3) / (scale * scale)

    def angle_at(self, t, hint):
        # type: (float, int) -> float
        """Path angle at ``t``: a local cubic."""
        k = self.nearest(t, hint)
        first, last = self.window(t, 0.0, 4, k)
        return self.fit(t, first, last, 3)[0][0]

    def newest_speeds(self):
        # type: () -> tuple[float, float]
        """Greatest speed over the newest dozen points of a rep under way, and the speed at the newest but one.

        The points mirrored beyond its end are left out: there is no turnaround.
        """
        self.count -= self.mirrored
        last = self.count - 2
        peak = 0.0
        for k in range(max(4, last - 12), last):
            peak = max(peak, self.speed_at(self.ts[k], 0.03, 7, 2, k)[0])
        return peak, self.speed_at(self.ts[last], 0.03, 7, 2, last)[0]
