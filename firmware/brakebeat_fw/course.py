"""Has braking begun? Fits the edges since phi = 0 with an unbraked course plus the lag that a late braking would leave.

The unbraked course is a parabola in time whose bend is nearly known (friction and yielding: a prior in least
squares). Against it stand a few gentle brakings that begin just in time, each with the size that stops the wheel
where the rep began: the fitted share of that size is near 0 for a wheel that runs free and 1 or more for one that is
braked in time. Half of it parts the two, whatever the noise, unless the noise is too great to see that half.
"""

from . import ticks
from .fit import solve

# The brakings looked for begin this share of the range before the late angle, ramps of so many seconds.
_EARLIER = (0.05, 0.10, 0.22)
_RAMP_S = 0.3
# Share of the ramp at which a braking has come to a tenth of its torque and counts as begun: 3 u^2 - 2 u^3 = 0.1.
_BEGUN = 0.196
# Points that are fitted; where there are more edges, neighbours are averaged.
_POINTS = 24
_LEAST = 3
# Spread of the unbraked bend, as a share of what stopping needs.
_BEND_SPREAD = 0.03
# A bend more than the usual one by this share is braking.
_BENT = 0.25
# A braking counts from this share on, and from so many standard deviations.
_SHARE = 0.5
_SIGMAS = 3.3
# The newest edge is wrong where it is this many standard deviations off, or lags more than this many times as much
# as the braking that stopping needs can explain.
_OFF = 5.0
_HARDEST = 3.0
# Edges further apart than this are too few to wait for: the one that is overdue must speak too.
_SLOW_US = 18000


class Course:
    """The edges since phi = 0 of one stretch; angles in edge spacings, times in spacings at the first half's pace."""

    def __init__(self, stretch, zero_path, range_, late_fraction, noise, bend, now_ticks):
        # type: (Any, float, float, float, float, float, int) -> None
        """zero_path, range_: path of phi = 0 and concentric range, spacings; noise: standard deviation of one edge,
        spacings; bend: the usual one of a free wheel as a share of the one that stops it in time."""
        self._stretch = stretch
        self._last = stretch.count - 1
        first = self._last
        while first > 0 and (stretch.corrected(first - 1) > zero_path or self._last - first + 1 < _LEAST):
            first -= 1
        self._first = first
        self.count = self._last - first + 1
        self.score = 0.0  # of the braking that fits best: 1 and more is braking
        self.slow = True  # edges come so rarely that the verdict should wait as long as it can
        if self.count < _LEAST:
            return
        self._base = stretch.buffer[first]
        middle = (first + self._last) // 2
        self._x0 = stretch.corrected(first)
        self._pace_us = ticks.after(stretch.buffer[middle], self._base) / (
            stretch.corrected(middle) - self._x0
        )
        # -1 to 1 over the course, for the fit.
        self._half = max(1.0, self._time(stretch.buffer[self._last]) / 2)
        self._needed = 1.0 / (2.0 * (1.0 - late_fraction) * range_)
        self._noise = max(noise, 3e-4)
        local = self._local_noise()
        if local > 3.0 * self._noise:
            # The magnets are not where the table says, or nothing has been learnt yet.
            self._noise = local
        self._usual = bend
        self._set_up(zero_path, range_, late_fraction)
        self._gather()
        self._take_newest()
        self.slow = self._pace_us > _SLOW_US
        if self.slow:
            self._take_overdue(now_ticks)

    def _set_up(self, zero_path, range_, late_fraction):
        # type: (float, float, float) -> None
        """The brakings that are looked for, and what is known of the bend beforehand."""
        ramp = _RAMP_S * 1e6 / self._pace_us
        self._ramp = ramp
        self._brakings = []  # type: list[tuple[float, float]]  # start of the ramp and size
        for earlier in _EARLIER:
            fraction = max(0.02, late_fraction - earlier)
            middle = min(0.9, fraction + (0.5 - _BEGUN) * ramp / range_)
            start = zero_path - self._x0 + fraction * range_ - _BEGUN * ramp
            self._brakings.append((start, ramp * ramp / (2.0 * (1.0 - middle) * range_)))
        size = 3 + len(self._brakings)
        self._matrix = [[0.0] * min(3, row + 1) for row in range(size)]
        self._squares = [0.0] * size
        self._right = [0.0] * size
        scale = self._half * self._half / 2.0
        held = self._noise / (_BEND_SPREAD * self._needed * scale)
        self._matrix[2][2] = held * held
        self._right[2] = -held * held * self._usual * self._needed * scale

    def _local_noise(self):
        # type: () -> float
        """Noise of one edge from fourth differences, which no braking bends much."""
        stretch = self._stretch
        before = older = 0.0
        total = 0.0
        number = 0
        t0 = self._time(stretch.buffer[self._first])
        t1 = self._time(stretch.buffer[self._first + 1])
        x0 = stretch.corrected(self._first)
        x1 = stretch.corrected(self._first + 1)
        for place in range(self._first + 2, self._last + 1):
            t2 = self._time(stretch.buffer[place])
            x2 = stretch.corrected(place)
            off = x1 - x0 - (x2 - x0) * (t1 - t0) / (t2 - t0)
            if place > self._first + 3:
                total += min(abs(before - (older + off) / 2.0), 0.3)
                number += 1
            older = before
            before = off
            t0, t1, x0, x1 = t1, t2, x1, x2
        # Coefficients 1/4 -1 3/2 -1 1/4: 2.09 times one edge's noise; mean |x| of a normal is 0.8 sd.
        return total / (0.8 * 2.09 * number) if number > 3 else 0.0

    def _gather(self):
        # type: () -> None
        """Take in all edges but the newest."""
        stretch = self._stretch
        together = (self.count + _POINTS - 1) // _POINTS
        place = self._first
        while place < self._last:
            t = x = 0.0
            number = min(together, self._last - place)
            for k in range(place, place + number):
                t += self._time(stretch.buffer[k])
                x += stretch.corrected(k) - self._x0
            place += number
            self._add(t / number, x / number, float(number))
        self._solve()

    def _time(self, at_ticks):
        # type: (int) -> float
        return ticks.after(at_ticks, self._base) / self._pace_us

    def _row(self, t):
        # type: (float) -> list[float]
        """What each unknown adds to the angle at time ``t``: constant, speed, bend, each braking."""
        s = t / self._half - 1.0
        row = [1.0, s, s * s]
        for start, size in self._brakings:
            u = (t - start) / self._ramp
            if u <= 0.0:
                row.append(0.0)
            elif u < 1.0:
                square = u * u
                row.append(-size * square * square * (0.25 - 0.1 * u))
            else:
                u -= 1.0
                row.append(-size * (0.15 + u * (0.5 + 0.5 * u)))
        return row

    def _add(self, t, x, weight):
        # type: (float, float, float) -> None
        row = self._row(t)
        ahead = x - t
        for a in range(len(row)):
            if row[a]:
                part = weight * row[a]
                self._right[a] += part * ahead
                line = self._matrix[a]
                for b in range(len(line)):
                    line[b] += part * row[b]
                if a > 2:
                    self._squares[a] += part * row[a]

    def _solve(self):
        # type: () -> None
        """Each braking by itself beside the free course; keeps the one that is clearest."""
        m = self._matrix
        self._best = 0
        self._answer = [0.0, 0.0, 0.0, 0.0]
        three = [[m[0][0], m[1][0], m[2][0]], [m[1][0], m[1][1], m[2][1]], [m[2][0], m[2][1], m[2][2]]]
        free = solve(three, self._right[:3])
        bent = self._bent(free[2]) if free is not None else 0.0
        best = -1e9
        for k in range(3, len(self._right)):
            one = m[k]
            four = [
                [m[0][0], m[1][0], m[2][0], one[0]],
                [m[1][0], m[1][1], m[2][1], one[1]],
                [m[2][0], m[2][1], m[2][2], one[2]],
                [one[0], one[1], one[2], self._squares[k]],
            ]
            answer = solve(four, self._right[:3] + self._right[k : k + 1])
            if answer is None:
                continue
            # The last pivot of the elimination is one over the share's variance, in units of the noise.
            deviation = self._noise / four[3][3] ** 0.5
            score = answer[3] / max(_SHARE, _SIGMAS * deviation)
            if score > best:
                best = score
                self._best = k
                self._answer = answer
        self.score = max(best, bent)

    def _bent(self, bend):
        # type: (float) -> float
        """What the bend of the whole course says: braked from its beginning it is no free wheel's."""
        share = -2.0 * bend / (self._half * self._half * self._needed)
        return (share - self._usual) / _BENT

    def _ahead(self, t, x):
        # type: (float, float) -> float
        """How far an edge is ahead of what has been fitted, spacings."""
        row = self._row(t)
        answer = self._answer
        return x - t - answer[0] - answer[1] * row[1] - answer[2] * row[2] - answer[3] * row[self._best]

    def _take_newest(self):
        # type: () -> None
        """Take the newest edge in where the wheel can have been there."""
        stretch = self._stretch
        t = self._time(stretch.buffer[self._last])
        x = stretch.corrected(self._last) - self._x0
        if not self._best:
            self._add(t, x, 1.0)
            self._solve()
            return
        ahead = self._ahead(t, x)
        since = t - self._time(stretch.buffer[self._last - 1])
        if ahead < -0.7:
            # A magnet was missed.
            ahead += 1.0
            x += 1.0
        if -_OFF * self._noise - _HARDEST * self._needed * since * since / 2.0 < ahead < _OFF * self._noise:
            self._add(t, x, 1.0)
            self._solve()

    def _take_overdue(self, now_ticks):
        # type: (int) -> None
        """An edge that should have come by now and has not says how much the wheel lags at least."""
        stretch = self._stretch
        t = self._time(now_ticks)
        x = stretch.corrected(self._last) - self._x0 + 1.0
        since = t - self._time(stretch.buffer[self._last])
        lag = -self._ahead(t, x)
        # More than that is no braking but a missed magnet.
        most = min(0.7, _HARDEST * self._needed * since * since)
        if self._best and _OFF * self._noise < lag < most:
            self._add(t, x, 1.0)
            self._solve()
