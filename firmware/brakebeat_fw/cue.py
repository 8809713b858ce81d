"""The timing sounds of a rep under way, window and late. Looks at edges only when an angle may have been reached.

The late cue asks, as the wheel passes the late angle, whether the athlete has begun to brake: how much of a braking
that begins just in time is there in the edges since phi = 0? It needs no inertia and no unit.
"""

from micropython import const

from . import ticks, wire
from .course import judge
from .figures import Wheel

# The verdict waits this long after the late angle for one more edge; an unclear one is asked again with each new
# edge, up to the second time.
_WAIT_US = const(5000)
_LATEST_US = const(14000)
# What holds the wheel before the brake, yielding above all, as a share of the brake, before any rep has told; the
# most that is believed, and a later rep's share in it.
_HELD = const(0.02)
_HELD_MOST = const(0.15)
_GAIN = const(0.3)
# What is left of the longest way back with each rep that is shorter.
_FADE = const(0.9)


class CueWatch:
    """Watches one stretch at a time."""

    def __init__(self, rig, stretch):
        # type: (dict[str, Any], Any) -> None
        self._stretch = stretch
        self._wheel = Wheel(rig)
        target = rig["brake_target"]
        tolerance = rig["brake_tolerance"]
        # Kind, share of the way back and how long after it to look.
        self._cues = []  # type: list[tuple[int, float, int]]
        if rig["cues.window_cue"]:
            self._cues.append((wire.CUE_WINDOW, target - tolerance, 0))
        if rig["cues.late_cue"]:
            self._cues.append((wire.CUE_LATE, target + tolerance, _WAIT_US))
        # Noise of one edge, and what holds the wheel before the brake, learnt from finished reps. The noise is mostly
        # one of time, more of an angle in a faster rep: seconds at the rep's mean speed.
        self.noise_s = 0.0
        self._held = _HELD
        self._back_rad = 0.0  # the longest way back of late
        # No look at any edge before these ticks; None: nothing is waited for.
        self.look = None  # type: int | None

    def learn(self, noise_s, back_rad, held):
        # type: (float, float, float | None) -> None
        """Take in a finished rep's noise (seconds at its mean speed), its way back, and what held the wheel before the
        brake, as a share of it."""
        self.noise_s += (noise_s - self.noise_s) * (_GAIN if self.noise_s else 1.0)
        self._back_rad = max(back_rad, _FADE * self._back_rad)
        if held is not None:
            self._held += (max(0.0, min(_HELD_MOST, held)) - self._held) * _GAIN

    def disarm(self):
        # type: () -> None
        """No rep under way, or one that gets no timing cue."""
        self.look = None

    def arm(self, zero_path, range_, pace, spacing_rad):
        # type: (float, float, float, float) -> None
        """The wheel has passed phi = 0, ``zero_path`` spacings from the stretch's first edge, after ``range_`` at
        ``pace`` spacings a second."""
        self._way = (zero_path, range_, spacing_rad)
        self._noise = self.noise_s * pace
        # Which cue is waited for, edges at the last verdict, the last moment for one.
        self._next = self._asked = self._latest = 0
        if self._cues:
            self.look = self._stretch.buffer[self._stretch.count - 1]

    def due(self, now_ticks):
        # type: (int) -> int | None
        """The kind of cue to sound now, or None."""
        if self.look is None or ticks.after(now_ticks, self.look) < 0:
            return None
        stretch = self._stretch
        over = ticks.after(now_ticks, self._latest) >= 0
        if self._asked == stretch.count and not over:
            return None
        stretch.mend()
        kind, fraction, wait_us = self._cues[self._next]
        zero_path, range_, spacing_rad = self._way
        newest = stretch.count - 1
        first = max(0, newest - 4)
        here = stretch.corrected(newest)
        # At the pace of the newest four or so edges; a wheel that slows is never there before.
        moved = max(0.5, here - stretch.corrected(first))
        pace_us = ticks.after(stretch.buffer[newest], stretch.buffer[first]) / moved
        if not self._asked:
            passing = stretch.buffer[newest] + int((zero_path + fraction * range_ - here) * pace_us)
            self.look = (passing + wait_us) & ticks.MASK
            if ticks.after(now_ticks, self.look) < 0:
                return None
            if kind == wire.CUE_WINDOW:
                self._next += 1
                if self._next == len(self._cues):
                    self.look = None
                return kind
            self._latest = (passing + _LATEST_US) & ticks.MASK
            over = ticks.after(now_ticks, self._latest) >= 0
        self._asked = stretch.count
        # After a half rep the way back may be the longer one, and the brake gentle.
        late = fraction * range_
        back = max(range_, self._back_rad / spacing_rad)
        # The bend of a free wheel, as a share of the one that stops it from the late angle on.
        speed = spacing_rad * 1e6 / pace_us
        friction = self._wheel.friction_rad_s2(speed) * 2.0 * (back - late) * spacing_rad / (speed * speed)
        bend = self._held + friction
        verdict = judge(stretch, zero_path, late, range_, back, self._noise, bend, now_ticks, over)
        if verdict:
            self.look = None
        return kind if verdict > 0 else None
