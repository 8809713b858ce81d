"""How the athlete braked in a finished rep: a smooth ramp up to a steady brake, fitted to the edges behind phi = 0.

With friction taken out the wheel runs on evenly, held back a little at most, until the ramp begins. Its middle and
the brake follow from the time and the angle to the stop; from there six unknowns are fitted at once (Gauss-Newton).
The figures smooth what this leaves, so that a sudden brake is not smeared and one of another course still found.
"""

from array import array

from micropython import const

from .fit import ramp, solve, take

# The tenth is part of the definition of the onset.
_SHARE = const(0.1)
# Edges from this far before phi = 0 belong to the free run; those just before the stop are few, the ramp long over.
_LEAD_RAD = const(1.5)
_CUT_S = const(0.02)
# Points that are fitted; where there are more edges, neighbours are averaged.
_POINTS = const(40)
_ROUNDS = const(8)
# What holds the wheel before the ramp, as a share of the brake, and its standard deviation.
_HELD = const(0.02)
_HELD_SPREAD = const(0.03)
# Usual length of a ramp in seconds and its limits.
_RAMP_S = const(0.1)
_LEAST_S = const(0.015)
_MOST_S = const(0.8)
# Residuals beyond this many times the mean one count as much as that.
_CLIP = const(3.0)
# Mean residual of a fit that is believed, beside twice an edge's noise.
_WELL_RAD = const(2e-3)
# Damping, as a share of the diagonal: single-precision floats must carry the system.
_DAMPING = const(1e-5)
# Less than this share of the speed at phi = 0 taken away by anything but friction is no brake.
_LEAST = const(0.03)


class Brake:
    """The fitted brake as decelerations, rad/s^2: kinematics alone where the inertia is unknown."""

    def __init__(self, curve, zero_rad, extension_s, wheel):
        # type: (Any, float, float, Any) -> None
        self._extension_s = extension_s
        # Relative to phi = 0: angle and speed there, what holds before the ramp, brake, its middle and length.
        self.answer = [0.0, 0.0, 0.0, 0.0, 0.0, 1.0]
        # False: the athlete braked along another course, which the model would only distort.
        self.fits = False
        self._gather(curve, zero_rad, wheel)
        if self._guess(curve, zero_rad):
            for _ in range(_ROUNDS):
                self._step(max(curve.noise_rad, 1e-4))
            self.fits = self._mean < _WELL_RAD + 2.0 * curve.noise_rad

    def _gather(self, curve, zero_rad, wheel):
        # type: (Any, float, Any) -> None
        """The points behind phi = 0, friction taken out."""
        ts = curve.ts
        xs = curve.xs
        k = curve.nearest(self._extension_s, 0)
        while k > 0 and xs[k] > zero_rad - _LEAD_RAD:
            k -= 1
        last = curve.nearest(curve.duration_s - _CUT_S, k)
        together = (last - k + _POINTS - 1) // _POINTS
        self._ts = array("f")
        self._xs = array("f")
        # What friction has taken off speed and angle.
        lost = 0.0
        lag = 0.0
        number = 0
        while ts[k] < curve.duration_s:
            k += 1
            step = ts[k] - ts[k - 1]
            slower = wheel.friction_rad_s2((xs[k] - xs[k - 1]) / step) * step
            lag += (lost + slower / 2) * step
            lost += slower
            if k <= last:
                number += 1
                if number % together == 0:
                    self._ts.append(ts[k] - self._extension_s)
                    self._xs.append(xs[k] - zero_rad + lag)
        self._lost = lost
        self._lag = lag

    def _guess(self, curve, zero_rad):
        # type: (Any, float) -> bool
        """A brake of no ramp that takes the speed away in the time and the angle to the stop; False: none needed."""
        ts = self._ts
        xs = self._xs
        if len(ts) < 6:
            return False
        few = min(5, len(ts) // 3)
        speed = (xs[few] - xs[0]) / (ts[few] - ts[0])
        span = curve.duration_s - self._extension_s
        taken = speed - self._lost
        short = speed * span - (curve.total_rad - zero_rad + self._lag)
        if taken < _LEAST * speed or short <= 0.0:
            return False
        braking = max(0.1 * span, min(0.98 * span, 2.0 * short / taken))
        self._scale = taken / braking
        self.answer = [0.0, speed, _HELD * self._scale, self._scale, span - braking, _RAMP_S]
        self._mean = 1.0
        return True

    def _step(self, noise):
        # type: (float) -> None
        """One round of Gauss-Newton with what is known beforehand of the held brake and the ramp's length."""
        answer = self.answer
        start, speed, held, brake, middle, length = answer
        matrix = [[0.0] * 6 for _ in range(6)]
        right = [0.0] * 6
        limit = _CLIP * self._mean
        total = 0.0
        row = [1.0] * 6
        for k in range(len(self._ts)):
            t = self._ts[k]
            angle, slope, _ = ramp((t - middle) / length + 0.5)
            row[1] = t
            row[2] = -0.5 * t * t
            row[3] = -length * length * angle
            row[4] = brake * length * slope
            row[5] = brake * ((t - middle) * slope - 2.0 * length * angle)
            off = self._xs[k] - start - speed * t - held * row[2] - brake * row[3]
            size = abs(off)
            weight = 1.0
            if size > limit:
                weight = limit / size
            total += min(size, limit)
            take(matrix, right, row, off, weight)
        self._mean = total / len(self._ts)
        stiff = noise / (_HELD_SPREAD * self._scale)
        matrix[2][2] += stiff * stiff
        right[2] += stiff * stiff * (_HELD * self._scale - held)
        stiff = noise / _RAMP_S
        matrix[5][5] += stiff * stiff
        right[5] += stiff * stiff * (_RAMP_S - length)
        for a in range(6):
            matrix[a][a] *= 1.0 + _DAMPING
        change = solve(matrix, right)
        if change is None:
            return
        for a in range(4):
            answer[a] += change[a]
        answer[4] = max(0.0, middle + max(-0.15, min(0.15, change[4])))
        answer[5] = max(_LEAST_S, 0.5 * length, min(_MOST_S, 2.0 * length, length + change[5]))

    def held(self, range_rad):
        # type: (float) -> float | None
        """What held the wheel before the ramp, as a share of what would have stopped it over ``range_rad``."""
        return 2.0 * range_rad * self.answer[2] / (self.answer[1] * self.answer[1]) if self.fits else None

    def lag(self, t):
        # type: (float) -> tuple[float, float, float]
        """What the brake has taken off angle and speed up to ``t`` seconds from the rep's start, and takes off now."""
        t -= self._extension_s
        if t <= 0.0 or not self.fits:
            return 0.0, 0.0, 0.0
        _, _, held, brake, middle, length = self.answer
        angle, speed, share = ramp((t - middle) / length + 0.5)
        angle = held * t * t / 2 + brake * length * length * angle
        return angle, held * t + brake * length * speed, held + brake * share


def find_onset(phase, taken, wheel):
    # type: (Any, Brake, Any) -> tuple[float | None, bool]
    """Onset in seconds from the rep's start (None: there is none) and whether the athlete braked harder than friction.

    phase: the way back; taken: the Brake that its speeds were smoothed without. What that has missed is told by the
    speeds' mean changes, so that a brake of any course is found.
    """
    speeds = phase.speeds
    count = len(speeds)
    braking = array("f", [0.0] * count)
    most = 0.0
    most_at = 0
    for k in range(2, count):
        if k < count - 2:
            early = phase.turn_s - (k + 2) * phase.step_s
            late = phase.turn_s - (k - 2) * phase.step_s
            changed = speeds[k + 2] - speeds[k - 2] + taken.lag(early)[1] - taken.lag(late)[1]
            left = changed / (late - early)
        braking[k] = left - wheel.friction_rad_s2(speeds[k])
        total = braking[k] + taken.lag(phase.turn_s - k * phase.step_s)[2]
        if total > most:
            most = total
            most_at = k
    if most <= wheel.friction_rad_s2(speeds[most_at]):
        return None, False
    for part in range(4 * most_at, 4 * (count - 1)):
        k = part >> 2
        share = (part & 3) / 4
        t = phase.turn_s - (k + share) * phase.step_s
        if braking[k] + share * (braking[k + 1] - braking[k]) + taken.lag(t)[2] < _SHARE * most:
            return t + phase.step_s / 8, True
    return phase.turn_s - phase.span_s, True
