"""The sounds of a rep under way: window, late, drop-off, set done. Looks at edges only around three angles a rep.

The late cue asks, as the wheel passes the late angle, whether the athlete has begun to brake: how much of a braking
that begins just in time is there in the edges since phi = 0? It needs no inertia and no unit.
"""

from . import ticks, wire
from .course import Course

# The verdict waits this long after the late angle for one more edge; an unclear one is asked again with each new
# edge, up to the second time.
_WAIT_US = 5000
_LATEST_US = 14000
# Scores of a verdict that need no more edges: certainly unbraked below, certainly braked above.
_UNBRAKED = 0.5
_BRAKED = 2.0
# Bend of a free wheel as a share of what stopping needs, before any rep has told: some friction, some yielding.
_USUAL_BEND = 0.04


class CueWatch:
    """Watches one stretch at a time; ``times_us`` holds what sounded, by kind (None: nothing)."""

    def __init__(self, rig, stretch):
        # type: (dict[str, Any], Any) -> None
        self._stretch = stretch
        self._late_fraction = rig["brake_target"] + rig["brake_tolerance"]
        self._window_fraction = rig["brake_target"] - rig["brake_tolerance"]
        self._window_on = rig["cues.window_cue"]
        self._late_on = rig["cues.late_cue"]
        # Noise of one edge in spacings, learnt from finished reps.
        self.noise = 0.0
        self.late_due = None  # type: int | None  # ticks at which the late angle is expected to be passed
        self.window_due = None  # type: int | None
        self._asked = 0  # edges at the last verdict
        self.bend = _USUAL_BEND
        self.zero_path = 0.0
        self._range = 1.0

    def learn_noise(self, noise):
        # type: (float) -> None
        """Take a finished rep's noise into the running mean."""
        self.noise = 0.7 * self.noise + 0.3 * noise if self.noise else noise

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
        return (stretch.buffer[last] + int(ahead * pace)) & ticks.MASK

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
        if since < _WAIT_US:
            return None
        stretch = self._stretch
        if since < _LATEST_US and self._asked == stretch.count:
            return None
        stretch.mend()
        self._asked = stretch.count
        late = self._late_fraction
        course = Course(stretch, self.zero_path, self._range, late, self.noise, self.bend, now_ticks)
        score = course.score
        if since >= _LATEST_US:
            self.late_due = None
            return wire.CUE_LATE if score < 1.0 else None
        if score < _UNBRAKED and not course.slow:
            self.late_due = None
            return wire.CUE_LATE
        if score > _BRAKED:
            self.late_due = None
        return None
