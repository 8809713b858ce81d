"""The sounds of a rep under way: window, late, drop-off, set done. Looks at edges only around three angles a rep.

The late cue asks, as the wheel passes the late angle, whether the athlete has begun to brake. Edge times before that
angle are continued as if unbraked; a lag of the newest edge behind that course, measured against the braking that
would still be needed to stop in time, is the answer. It needs no inertia and no unit.
"""

from . import detector, ticks, wire
from .fit import polynomial

# Samples of the unbraked course, and how many samples further on the newest one is compared.
_COURSE = 7
_LEADS = (3, 5)
# A sample is about this share of the concentric range: finer edges are skipped, each would say too little.
_SAMPLE_SHARE = 0.024
# Braking that counts, as a share of what is needed to stop where the rep began.
_LAG_SHARE = 0.1
_CURVED_SHARE = 0.25
# Noise: how many standard deviations a lag must exceed.
_SIGMAS = 4.0
# The verdict waits this long after the late angle for one more edge; a close verdict is looked at once more.
_WAIT_US = 5000
_AGAIN_US = 13000


def _extrapolation(lead):
    # type: (int) -> tuple[list[float], float]
    """Weights that continue a parabola through _COURSE even samples ``lead`` samples beyond the newest, and the
    noise gain of (newest - continued). Sample 0 is the newest of the course."""
    weights = []
    gain = 1.0
    for k in range(_COURSE):
        xs = [-1.0 * j / _COURSE for j in range(_COURSE)]
        ys = [1.0 if j == k else 0.0 for j in range(_COURSE)]
        c = polynomial(xs, ys, 2)
        x = lead / _COURSE
        weight = c[0] + x * (c[1] + x * c[2])
        weights.append(weight)
        gain += weight * weight
    return weights, gain**0.5


def _curving():
    # type: () -> list[float]
    """Weights that give the second derivative of _COURSE even samples (per sample squared)."""
    weights = []
    for k in range(_COURSE):
        xs = [-1.0 * j / _COURSE for j in range(_COURSE)]
        ys = [1.0 if j == k else 0.0 for j in range(_COURSE)]
        weights.append(2.0 * polynomial(xs, ys, 2)[2] / (_COURSE * _COURSE))
    return weights


class CueWatch:
    """Watches one stretch at a time; ``times_us`` holds what sounded, by kind (None: nothing)."""

    def __init__(self, rig, stretch):
        # type: (dict[str, object], object) -> None
        self._stretch = stretch
        self._late_fraction = rig["brake_target"] + rig["brake_tolerance"]
        self._window_fraction = rig["brake_target"] - rig["brake_tolerance"]
        self._window_on = rig["cues.window_cue"]
        self._late_on = rig["cues.late_cue"]
        self._extrapolations = [(lead,) + _extrapolation(lead) for lead in _LEADS]
        self._curving = _curving()
        # Timing noise of one edge in spacings, learnt from finished reps.
        self.noise = 0.0005
        self.late_due = None  # ticks at which the late angle is expected to be passed
        self.window_due = None
        self._asked = 0
        self.zero_path = 0.0
        self._range = 1.0

    def disarm(self):
        # type: () -> None
        """No rep under way, or one that gets no timing cue."""
        self.late_due = self.window_due = None

    def arm(self, zero_path, range_):
        # type: (float, float) -> None
        """The wheel has passed phi = 0, ``zero_path`` spacings from the stretch's first edge, after ``range_``."""
        self.zero_path = zero_path
        self._range = range_
        self._asked = 0
        self.late_due = self.window_due = 0
        if not self._late_on:
            self.late_due = None
        if not self._window_on:
            self.window_due = None
        self.predict()

    def predict(self):
        # type: () -> None
        """Renew the times at which the angles are expected, after new edges."""
        if self.late_due is not None and not self._asked:
            self.late_due = self._passing(self._late_fraction)
        if self.window_due is not None:
            self.window_due = self._passing(self._window_fraction)

    def _passing(self, fraction):
        # type: (float) -> int
        stretch = self._stretch
        last = stretch.count - 1
        ahead = self.zero_path + fraction * self._range - stretch.corrected(last)
        pace = self._pace()
        # A wheel that slows evenly needs a little longer; beyond a few edges this is renewed anyway.
        return (stretch.state[detector.T_LAST] + int(ahead * pace)) & ticks.MASK

    def _pace(self):
        # type: () -> float
        """Microseconds per spacing over the newest four or so edges, offsets corrected."""
        stretch = self._stretch
        last = stretch.count - 1
        first = max(0, last - 4)
        moved = stretch.corrected(last) - stretch.corrected(first)
        return ticks.after(stretch.buffer[last], stretch.buffer[first]) / max(moved, 0.5)

    def due(self, now_ticks):
        # type: (int) -> int | None
        """The kind of cue to sound now, or None."""
        if self.window_due is not None and ticks.after(now_ticks, self.window_due) >= 0:
            self.window_due = None
            return wire.CUE_WINDOW
        if self.late_due is None:
            return None
        since = ticks.after(now_ticks, self.late_due)
        if since < (_AGAIN_US if self._asked else _WAIT_US):
            return None
        verdict = self._braking(now_ticks)
        if verdict < 1.0:
            self.late_due = None
            return wire.CUE_LATE
        if verdict > 2.5 or self._asked:
            self.late_due = None
        self._asked = 1
        return None

    def _braking(self, now_ticks):
        # type: (int) -> float
        """How clearly the athlete brakes: below 1 not at all, above it the more the clearer."""
        stretch = self._stretch
        last = stretch.count - 1
        newest = stretch.path(last)
        base = stretch.buffer[last]
        stride = max(1, int(_SAMPLE_SHARE * self._range + 0.5))
        remaining = max(2.0, (self.zero_path + self._range - newest) / stride)
        most = self._verdict(newest, base, stride, remaining, None)
        # An edge that is overdue says as much as one that came late.
        return max(most, self._verdict(newest + 1, base, stride, remaining, ticks.after(now_ticks, base)))

    def _verdict(self, newest, base, stride, remaining, newest_us):
        # type: (int, int, int, float, float | None) -> float
        if newest_us is None:
            newest_us = self._time(newest, base)
        best = 0.0
        for lead, weights, gain in self._extrapolations:
            times = [self._time(newest - stride * (lead + k), base) for k in range(_COURSE)]
            course_us = 0.0
            curved_us = 0.0
            for k in range(_COURSE):
                course_us += weights[k] * times[k]
                curved_us += self._curving[k] * times[k]
            pace_us = (times[0] - times[_COURSE - 1]) / (_COURSE - 1)
            needed_us = _LAG_SHARE * lead * lead * pace_us / (4.0 * remaining)
            noise_us = _SIGMAS * gain * self.noise * pace_us / stride
            best = max(best, (newest_us - course_us) / max(needed_us, noise_us))
            best = max(best, 2.0 * remaining * curved_us / pace_us / _CURVED_SHARE)
        return best

    def _time(self, path, base):
        # type: (int, int) -> float
        """Microseconds from ticks ``base`` at which the even angle ``path`` was passed (between edges: a line)."""
        stretch = self._stretch
        place = stretch.count - 1
        while place > 1 and stretch.path(place - 1) >= path:
            place -= 1
        early = stretch.corrected(place - 1)
        late = stretch.corrected(place)
        early_us = ticks.after(stretch.buffer[place - 1], base)
        late_us = ticks.after(stretch.buffer[place], base)
        return late_us + (path - late) * (late_us - early_us) / (late - early)
