"""Has braking begun? Fits the edges since phi = 0 with an unbraked course plus the lag that a late braking would leave.

The unbraked course is a parabola in time whose bend is nearly known (friction and yielding: a prior in least
squares). Against it stands a gentle braking that begins just in time, of the size that stops the wheel where the rep
began: the fitted share of that size is near 0 for a wheel that runs free and 1 or more for one that is braked in
time. Half of it parts the two, whatever the noise, unless the noise is too great to see that half.
"""

from micropython import const

from . import ticks
from .fit import ramp, solve, take

# The braking looked for begins this share of the range before the late angle, earlier where edges are noisy (by the
# noise's share of the range), but no more than that.
_EARLIER = const(0.055)
_PER_NOISE = const(760.0)
_EARLIEST = const(0.13)
_RAMP_S = const(0.3)
# Share of the ramp at which a braking has come to a tenth of its torque and counts as begun: 3 u^2 - 2 u^3 = 0.1.
_BEGUN = const(0.196)
# Points that are fitted; where there are more edges, neighbours are averaged.
_POINTS = const(14)
_LEAST = const(3)
# Spread of the unbraked bend, as a share of what stopping needs.
_BEND_SPREAD = const(0.02)
# A bend more than the usual one by this share is braking from phi = 0 on.
_BENT = const(0.25)
# A braking counts from this share on, and from so many standard deviations.
_SHARE = const(0.5)
_SIGMAS = const(2.0)
# An edge is wrong where it is this many standard deviations off; the newest may lag that many times as much as the
# braking that stopping needs can explain.
_OFF = const(3.5)
_HARDEST = const(3.0)
# Edges further apart than this are too few to wait for: the one that is overdue must speak too.
_SLOW_S = const(0.018)


class Course:
    """The edges since phi = 0 of one stretch; angles in edge spacings."""

    def __init__(self, stretch, zero_path, range_, late_fraction, noise, bend, now_ticks):
        # type: (Any, float, float, float, float, float, int) -> None
        """zero_path, range_: path of phi = 0 and concentric range, spacings; noise: standard deviation of one edge,
        spacings; bend: the usual one of a free wheel as a share of the one that stops it in time."""
        self.score = 0.0  # 1 and more is braking
        self.slow = True  # edges come so rarely that the verdict should wait as long as it can
        self._stretch = stretch
        self._last = last = stretch.count - 1
        first = last
        while first > 0 and (stretch.corrected(first - 1) > zero_path - 1.0 or last - first < _LEAST):
            first -= 1
        if last - first < _LEAST:
            return
        self._speed = 0.0
        middle = (first + last) // 2
        t, x = self._at(first)
        self._half_s = -t / 2
        t1, x1 = self._at(middle)
        self._speed = speed = (x1 - x) / (t1 - t)
        self._noise = max(noise, 3e-4)
        begun = max(0.02, late_fraction - min(_EARLIEST, _EARLIER + _PER_NOISE * self._noise / range_))
        stop = speed * speed / (2.0 * range_)
        self._needed = stop / (1.0 - late_fraction)
        self._size = _RAMP_S * _RAMP_S * stop
        self._size /= 1.0 - min(0.9, begun + (0.5 - _BEGUN) * _RAMP_S * speed / range_)
        self._start = (zero_path + begun * range_ - stretch.corrected(last)) / speed - _BEGUN * _RAMP_S
        self._matrix = [[0.0] * 4 for _ in range(4)]
        self._right = [0.0] * 4
        self._answer = self._right
        self._bend = bend
        self._scale = self._half_s * self._half_s / 2.0 * self._needed
        held = self._noise / (_BEND_SPREAD * self._scale)
        take(self._matrix, self._right, [0.0, 0.0, held, 0.0], -held * bend * self._scale, 1.0)
        self._judge(first, now_ticks)

    def _at(self, place):
        # type: (int) -> tuple[float, float]
        """Seconds from the newest edge and how far ahead of an even speed."""
        stretch = self._stretch
        last = self._last
        t = ticks.after(stretch.buffer[place], stretch.buffer[last]) * 1e-6
        return t, stretch.corrected(place) - stretch.corrected(last) - self._speed * t

    def _judge(self, first, now_ticks):
        # type: (int, int) -> None
        together = (self._last - first + _POINTS - 1) // _POINTS
        points = []
        while first < self._last:
            number = min(together, self._last - first)
            t = ahead = 0.0
            for k in range(first, first + number):
                dt, dx = self._at(k)
                t += dt / number
                ahead += dx / number
            first += number
            points.append((t, ahead, float(number)))
            self._take(t, ahead, float(number))
        self._solve()
        # What the magnets' table does not tell, or nothing has been learnt yet.
        total = 0.0
        for t, ahead, _ in points:
            total += abs(self._off(t, ahead))
        self._noise = max(self._noise, total / len(points))
        answer = self._answer
        for t, ahead, weight in points:
            self._answer = answer
            if abs(self._off(t, ahead)) > _OFF * self._noise:
                self._take(t, ahead, -weight)
        # The newest edge counts where the wheel can have been there.
        most = _HARDEST * self._needed / 2.0
        since, _ = self._at(self._last - 1)
        off = self._off(0.0, 0.0)
        missed = 1.0 if off < -0.7 else 0.0
        off += missed
        if -_OFF * self._noise - most * since * since < off < _OFF * self._noise:
            self._take(0.0, missed, 1.0)
        self._solve()
        self.slow = self._speed * _SLOW_S < 1.0
        if self.slow:
            # An edge that should have come by now and has not says how much the wheel lags at least; by more than
            # that it was missed.
            t = ticks.after(now_ticks, self._stretch.buffer[self._last]) * 1e-6
            ahead = 1.0 - self._speed * t
            if _OFF * self._noise < -self._off(t, ahead) < min(0.7, 2.0 * most * t * t):
                self._take(t, ahead, 1.0)
                self._solve()

    def _row(self, t):
        # type: (float) -> list[float]
        """What each unknown adds to the angle at time ``t``: constant, speed, bend, the braking."""
        s = t / self._half_s + 1.0
        return [1.0, s, s * s, -self._size * ramp((t - self._start) / _RAMP_S)[0]]

    def _take(self, t, ahead, weight):
        # type: (float, float, float) -> None
        take(self._matrix, self._right, self._row(t), ahead, weight)

    def _off(self, t, ahead):
        # type: (float, float) -> float
        """How far an edge is ahead of what has been fitted, spacings."""
        row = self._row(t)
        for k in range(4):
            ahead -= row[k] * self._answer[k]
        return ahead

    def _solve(self):
        # type: () -> None
        matrix = [line[:] for line in self._matrix]
        answer = solve(matrix, self._right[:])
        self._answer = answer or [0.0] * 4
        self.score = 0.0
        if answer is not None:
            share = answer[3] / max(_SHARE, _SIGMAS * self._noise / matrix[3][3] ** 0.5)
            self.score = max(share, (-answer[2] / self._scale - self._bend) / _BENT)
