"""Has braking begun? Continues the unbraked course of a wheel past phi = 0 and looks how far the newest edges lag.

The course is a parabola in time through the edges before; its bend is held near that of free running, the more so the
noisier the edges are (a prior in least squares). All angles here are in edge spacings, times in units of the course's
length, so that single-precision floats do.
"""

from . import ticks
from .fit import solve

MYPY = False
if MYPY:
    from typing import Any  # noqa: F401

# The course is fitted to no fewer and no more edges than these, none older than this.
_COURSE_LEAST = 4
_COURSE_MOST = 24
_COURSE_US = 250000
# While yielding the athlete brakes with some share of what stopping needs, unknown but near 0: its spread.
_YIELD_SPREAD = 0.05
# Braking that counts, as a share of what is needed to stop where the rep began.
_BRAKE_SHARE = 0.08
_BENT_SHARE = 0.25
# Edges within this share of the range are averaged.
_TOGETHER = 0.02
# No braking is harder than this many times what stopping needs.
_HARDEST = 5.0
# Standard deviations that a lag must exceed.
_SIGMAS = 4.5


class Course:
    """The unbraked course up to ``lead`` spacings before the newest edge, and the edges since."""

    def __init__(self, stretch, last, lead, zero_path, range_, noise):
        # type: (Any, int, float, float, float, float) -> None
        """last: place of the newest edge; zero_path, range_: path of phi = 0 and concentric range, spacings;
        noise: standard deviation of one edge, spacings."""
        self._stretch = stretch
        self._last = last
        self._noise = max(noise, 1e-5)
        self._base = stretch.buffer[last]
        newest = stretch.corrected(last)
        end = last
        while end > 1 and newest - stretch.corrected(end) < lead:
            end -= 1
        first = end
        while first > 0 and end - first < _COURSE_MOST - 1 and self._may_reach_to(first - 1, end, zero_path):
            first -= 1
        self._end = end
        self._scale_us = float(max(1, ticks.after(stretch.buffer[end], stretch.buffer[first])))
        self._origin = stretch.corrected(end)
        pace = (stretch.corrected(end) - stretch.corrected(first)) / 1.0
        remaining = max(1.0, zero_path + range_ - newest)
        # Bend (spacings per course length squared) that would stop the wheel where the rep began.
        self._needed = pace * pace / (4.0 * remaining)
        self.score = 0.0
        self._together = max(1, int(_TOGETHER * range_ + 0.5))
        self._solve(first, end)

    def _may_reach_to(self, place, end, zero_path):
        # type: (int, int, float) -> bool
        stretch = self._stretch
        if end - place < _COURSE_LEAST:
            return True
        if ticks.after(stretch.buffer[end], stretch.buffer[place]) > _COURSE_US:
            return False
        return stretch.corrected(place) >= zero_path

    def _solve(self, first, end):
        # type: (int, int) -> None
        """Least squares for (angle, speed, bend) at the course's end, the bend drawn towards 0."""
        stretch = self._stretch
        sums = [0.0] * 5
        right = [0.0] * 3
        for place in range(first, end + 1):
            u = self._u(ticks.after(stretch.buffer[place], self._base))
            x = stretch.corrected(place) - self._origin
            power = 1.0
            for k in range(5):
                sums[k] += power
                if k < 3:
                    right[k] += power * x
                power *= u
        held = self._noise / (_YIELD_SPREAD * self._needed)
        sums[4] += held * held
        self._sums = sums
        self._answer = solve([[sums[a + b] for b in range(3)] for a in range(3)], right) or [0.0, 0.0, 0.0]

    def _u(self, after_base_us):
        # type: (int) -> float
        """Time from the course's end in course lengths."""
        return (after_base_us + ticks.after(self._base, self._stretch.buffer[self._end])) / self._scale_us

    def _spread(self, u, edges):
        # type: (float, int) -> float
        """Standard deviation of (mean of some edges - course) at ``u``, spacings."""
        sums = self._sums
        row = [1.0, u, u * u]
        weights = solve([[sums[a + b] for b in range(3)] for a in range(3)], list(row))
        variance = 1.0 / edges
        if weights is not None:
            for k in range(3):
                variance += weights[k] * row[k]
        return self._noise * variance**0.5

    def _lag(self, u, x):
        # type: (float, float) -> float
        answer = self._answer
        return answer[0] + u * (answer[1] + u * answer[2]) - x

    def verdict(self, overdue_us):
        # type: (int) -> float
        """Braking over what counts as braking; overdue_us: microseconds since the newest edge. ``score`` is what the
        edges alone say."""
        stretch = self._stretch
        best = -self._answer[2] / (self._needed * _BENT_SHARE + _SIGMAS * self._bend_spread())
        shift = 0.0
        x = 0.0
        score = 0.0
        mean_lag = mean_u = 0.0
        taken = 0
        for place in range(self._end + 1, self._last + 1):
            u = self._u(ticks.after(stretch.buffer[place], self._base))
            x = stretch.corrected(place) - self._origin + shift
            lag = self._lag(u, x)
            limit = self._limit(u)
            if lag < -max(2.0 * limit, 0.15):
                # The wheel does not gain speed here: a stray edge, and no advance.
                shift -= 1.0
                continue
            if lag - 0.7 > max(2.0 * limit, 0.0) and score < 0.5:
                # Most of a spacing at once: a magnet was missed.
                shift += 1.0
                x += 1.0
                lag -= 1.0
            # A running mean over the newest edges, which tell more together than the last one alone.
            taken += 1
            weight = 1.0 / min(taken, self._together)
            mean_lag += weight * (lag - mean_lag)
            mean_u += weight * (u - mean_u)
            score = mean_lag / self._limit(mean_u, min(taken, 2 * self._together - 1))
        self.score = max(best, score)
        # An edge that is overdue says as much as one that came late; overdue beyond any braking it was missed.
        u = self._u(overdue_us)
        lag = self._lag(u, x + 1.0)
        since = u if self.score >= 1.0 else u - self._u(0)
        if lag > _HARDEST * self._needed * since * since + self._limit(u):
            return self.score
        return max(self.score, lag / self._limit(u))

    def _limit(self, u, edges=1):
        # type: (float, int) -> float
        """A lag at ``u``, the mean of some edges, that means braking."""
        return max(_BRAKE_SHARE * self._needed * u * u, _SIGMAS * self._spread(u, edges))

    def _bend_spread(self):
        # type: () -> float
        sums = self._sums
        weights = solve([[sums[a + b] for b in range(3)] for a in range(3)], [0.0, 0.0, 1.0])
        return self._noise * max(weights[2], 0.0) ** 0.5 if weights is not None else 1e9
