"""How the athlete braked in a finished rep: a smooth ramp up to a steady brake, fitted to the edges behind phi = 0.

With friction taken out the wheel runs on evenly, held back a little at most, until the ramp begins. Its middle and
the brake follow from the time and the angle to the stop; from there six unknowns are fitted at once (Gauss-Newton).
The figures smooth what this leaves, so that a sudden brake is not smeared and one of another course still found.
"""

from micropython import const

from .fit import System, ramp

# The tenth is part of the definition of the onset.
_SHARE = const(0.1)
# Edges from this far before phi = 0 belong to the free run; those just before the stop are few, the ramp long over.
_LEAD_RAD = const(1.5)
_CUT_S = const(0.02)
# Points that are fitted, about; where there are more edges, some are left out.
_POINTS = const(40)
_LEAST = const(6)
_ROUNDS = const(8)
# What holds the wheel before the ramp, as a share of the brake, and its standard deviation.
_HELD = const(0.02)
_HELD_SPREAD = const(0.03)
# A round that moves the ramp by less, seconds, and its mean residual by less than this share, is the last one.
_STILL_S = const(1e-3)
_AS_WELL = const(0.02)
# Usual length of a ramp in seconds, which is its spread as well, and the least.
_RAMP_S = const(0.1)
_LEAST_S = const(0.015)
# Residuals beyond this many times the mean one count as much as that.
_CLIP = const(3.0)
# Mean residual of a fit that is believed, beside twice an edge's noise.
_WELL_RAD = const(2e-3)
# Less than this share of the speed at phi = 0 taken away by anything but friction is no brake.
_TAKEN = const(0.03)


class Brake:
    """The fitted brake as decelerations, rad/s^2: kinematics alone where the inertia is unknown."""

    def __init__(self, curve, zero_rad, extension_s, wheel):
        # type: (Any, float, float, Any) -> None
        self._extension_s = extension_s
        # False: the athlete braked along another course, which the model would only distort.
        self.fits = False
        self._moved_s = 0.0
        # What held the wheel before the ramp, as a share of the brake; None: not known.
        self.held = None  # type: float | None
        points = _gather(curve, zero_rad, extension_s, wheel)
        if len(points) < _LEAST:
            return
        # A brake of no ramp that takes the speed away in the time and the angle to the stop.
        lost, lag = points.pop()
        t, x = points[0]
        after_t, after_x = points[min(5, len(points) // 3)]
        speed = (after_x - x) / (after_t - t)
        span = curve.duration_s - extension_s
        taken = speed - lost
        if taken < _TAKEN * speed:
            return
        braking = 2.0 * (speed * span - lag) / taken
        braking = max(0.1 * span, min(0.98 * span, braking))
        self._brake = taken / braking
        # Relative to phi = 0: angle and speed there, what holds before the ramp, brake, its middle and length.
        self._answer = [0.0, speed, _HELD * self._brake, self._brake, span - braking, _RAMP_S]
        mean = 1.0
        for _ in range(_ROUNDS):
            before = mean
            mean = self._step(points, max(curve.noise_rad, 1e-4), _CLIP * mean)
            if self._moved_s < _STILL_S and abs(mean - before) < _AS_WELL * mean:
                break
        if mean < _WELL_RAD + 2.0 * curve.noise_rad:
            self.fits = True
            self.held = self._answer[2] / self._answer[3]

    def _step(self, points, noise, limit):
        # type: (list[tuple[float, float]], float, float) -> float
        """One round of Gauss-Newton with what is known beforehand of the held brake and the ramp's length.

        Residuals beyond ``limit`` count as much as that; returns the mean one.
        """
        start, speed, held, brake, middle, length = answer = self._answer
        system = System(6)
        total = 0.0
        for t, x in points:
            u = (t - middle) / length + 0.5
            angle, slope, _ = ramp(u)
            lag = length * length * angle
            off = x - start - t * (speed - held * t / 2) + brake * lag
            size = abs(off)
            weight = min(1.0, limit / (size + 1e-9))
            total += size * weight
            row = (1.0, t, -t * t / 2)  # type: tuple[float, ...]
            if u > 0.0:
                # Before the ramp nothing tells of it.
                slope *= brake * length
                row += (-lag, slope, (slope * (t - middle) - 2.0 * brake * lag) / length)
            system.add(row, off, weight)
        stiff = noise / (_HELD_SPREAD * self._brake)
        system.add((0.0, 0.0, 1.0), _HELD * self._brake - held, stiff * stiff)
        stiff = noise / _RAMP_S
        system.add((0.0, 0.0, 0.0, 0.0, 0.0, 1.0), _RAMP_S - length, stiff * stiff)
        system.solve()
        change = system.answer
        # No step moves the ramp by more than its length.
        self._moved_s = abs(change[4]) + abs(change[5])
        share = min(1.0, length / (self._moved_s + 1e-9))
        for a in range(6):
            answer[a] += share * change[a]
        answer[5] = max(_LEAST_S, length / 2, answer[5])
        return total / len(points)

    def lag(self, t):
        # type: (float) -> tuple[float, float, float]
        """What the brake has taken off angle and speed up to ``t`` seconds from the rep's start, and takes off now."""
        t -= self._extension_s
        if t <= 0.0 or not self.fits:
            return 0.0, 0.0, 0.0
        _, _, held, brake, middle, length = self._answer
        angle, speed, share = ramp((t - middle) / length + 0.5)
        angle = held * t * t / 2 + brake * length * length * angle
        return angle, held * t + brake * length * speed, held + brake * share


def _gather(curve, zero_rad, extension_s, wheel):
    # type: (Any, float, float, Any) -> list[tuple[float, float]]
    """Time and angle of points behind phi = 0, friction taken out; last of all what friction takes off the speed and
    how far the wheel runs to the stop."""
    ts = curve.ts
    xs = curve.xs
    k = curve.nearest(extension_s, 0)
    while k > 0 and xs[k] > zero_rad - _LEAD_RAD:
        k -= 1
    last = curve.nearest(curve.duration_s - _CUT_S, k)
    every = (last - k + _POINTS - 1) // _POINTS
    points = []
    lost = lag = 0.0
    while ts[k] < curve.duration_s:
        k += 1
        # A stop may fall on its last edge.
        step = max(1e-6, ts[k] - ts[k - 1])
        slower = wheel.friction_rad_s2((xs[k] - xs[k - 1]) / step) * step
        lag += (lost + slower / 2) * step
        lost += slower
        if k <= last and k % every == 0:
            points.append((ts[k] - extension_s, xs[k] - zero_rad + lag))
    points.append((lost, curve.total_rad - zero_rad + lag))
    return points


def find_onset(phase, taken, wheel):
    # type: (Any, Brake, Any) -> tuple[float | None, bool]
    """Onset in seconds from the rep's start (None: there is none) and whether the athlete braked harder than friction.

    phase: the way back; taken: the Brake that its speeds were smoothed without. What that has missed is told by the
    speeds' mean changes, so that a brake of any course is found.
    """
    speeds = phase.speeds
    step = phase.step_s
    braking = []
    most = 0.0
    at = 0
    left = 0.0
    for k in range(len(speeds)):
        t = phase.turn_s - k * step
        if 2 <= k < len(speeds) - 2:
            left = speeds[k + 2] - speeds[k - 2] + taken.lag(t - 2 * step)[1] - taken.lag(t + 2 * step)[1]
            left /= 4 * step
        friction = wheel.friction_rad_s2(speeds[k])
        braking.append(left + taken.lag(t)[2] - friction)
        if braking[k] > max(most, friction):
            most = braking[k]
            at = k
    if not most:
        return None, False
    limit = _SHARE * most
    k = at
    while braking[k] > limit:
        k += 1
        if k == len(braking):
            return phase.turn_s - phase.span_s, True
    return phase.turn_s - (k - (limit - braking[k]) / (braking[k - 1] - braking[k])) * step, True
