"""The timing sounds of a rep under way, window and late. Looks at edges only when an angle may have been reached.

The late cue asks, as the wheel passes the late angle, whether the athlete has begun to brake: how much of a braking
that begins just in time is there in the edges since phi = 0? It needs no inertia and no unit.
"""

from micropython import const

from . import ticks, wire
from .course import Course
from .figures import Wheel

# The verdict waits this long after the late angle for one more edge; an unclear one is asked again with each new
# edge, up to the second time.
_WAIT_US = const(5000)
_LATEST_US = const(14000)
# Scores of a verdict that need no more edges: certainly unbraked below, certainly braked above.
_UNBRAKED = const(0.5)
_BRAKED = const(2.0)
# What holds the wheel before the brake, yielding above all, as a share of what would stop it from phi = 0 on, before
# any rep has told; the most that is believed, and a later rep's share in it.
_HELD = const(0.02)
_HELD_MOST = const(0.15)
_GAIN = const(0.3)


class CueWatch:
    """Watches one stretch at a time."""

    def __init__(self, rig, stretch):
        # type: (dict[str, Any], Any) -> None
        self._stretch = stretch
        self._wheel = Wheel(rig)
        self._late_fraction = rig["brake_target"] + rig["brake_tolerance"]
        self._window_fraction = rig["brake_target"] - rig["brake_tolerance"]
        self._window_on = rig["cues.window_cue"]
        self._late_on = rig["cues.late_cue"]
        # Noise of one edge in spacings, and what holds the wheel before the brake, learnt from finished reps.
        self.noise = 0.0
        self._held = _HELD
        # No look at any edge before this; None: nothing is waited for.
        self._look = None  # type: int | None
        self._window = False  # still to come in this rep
        self._asked = 0  # edges at the last verdict
        self._latest = 0

    def learn_noise(self, noise):
        # type: (float) -> None
        """Take a finished rep's noise, spacings, into the running mean."""
        self.noise += (noise - self.noise) * (_GAIN if self.noise else 1.0)

    def learn_held(self, share):
        # type: (float | None) -> None
        """Take in what held the wheel before the brake in a finished rep, as a share of what would stop it."""
        if share is not None:
            self._held += (max(0.0, min(_HELD_MOST, share)) - self._held) * _GAIN

    def disarm(self):
        # type: () -> None
        """No rep under way, or one that gets no timing cue."""
        self._look = None

    def arm(self, zero_path, range_, spacing_rad):
        # type: (float, float, float) -> None
        """The wheel has passed phi = 0, ``zero_path`` spacings from the stretch's first edge, after ``range_``."""
        self._zero_path = zero_path
        self._range = range_
        self._spacing_rad = spacing_rad
        self._asked = 0
        self._window = self._window_on
        self._look = self._stretch.buffer[self._stretch.count - 1]

    def due(self, now_ticks):
        # type: (int) -> int | None
        """The kind of cue to sound now, or None."""
        look = self._look
        if look is None or ticks.after(now_ticks, look) < 0:
            return None
        if self._asked:
            if self._asked == self._stretch.count and ticks.after(now_ticks, self._latest) < 0:
                return None
            return self._verdict(now_ticks)
        self._stretch.mend()
        if self._window:
            self._look = self._passing(self._window_fraction)
            if ticks.after(now_ticks, self._look) < 0:
                return None
            self._window = False
            return wire.CUE_WINDOW
        if not self._late_on:
            self._look = None
            return None
        # A wheel slows: it is never there before this, and looks again then.
        passing = self._passing(self._late_fraction)
        self._look = (passing + _WAIT_US) & ticks.MASK
        if ticks.after(now_ticks, self._look) < 0:
            return None
        self._latest = (passing + _LATEST_US) & ticks.MASK
        return self._verdict(now_ticks)

    def _passing(self, fraction):
        # type: (float) -> int
        """Ticks at which the wheel passes a share of the way back, at the pace of the newest four or so edges."""
        stretch = self._stretch
        last = stretch.count - 1
        first = max(0, last - 4)
        here = stretch.corrected(last)
        self._pace_us = ticks.after(stretch.buffer[last], stretch.buffer[first]) / max(
            here - stretch.corrected(first), 0.5
        )
        ahead = self._zero_path + fraction * self._range - here
        return (stretch.buffer[last] + int(ahead * self._pace_us)) & ticks.MASK

    def _verdict(self, now_ticks):
        # type: (int) -> int | None
        stretch = self._stretch
        stretch.mend()
        self._asked = stretch.count
        late = self._late_fraction
        # The bend of a free wheel, as a share of the one that stops it from the late angle on.
        speed = self._spacing_rad * 1e6 / self._pace_us
        friction = (
            self._wheel.friction_rad_s2(speed) * 2.0 * self._range * self._spacing_rad / (speed * speed)
        )
        bend = (self._held + friction) * (1.0 - late)
        course = Course(stretch, self._zero_path, self._range, late, self.noise, bend, now_ticks)
        over = ticks.after(now_ticks, self._latest) >= 0
        unbraked = course.score < (1.0 if over else 0.0 if course.slow else _UNBRAKED)
        if over or unbraked or course.score > _BRAKED:
            self._look = None
        return wire.CUE_LATE if unbraked else None
