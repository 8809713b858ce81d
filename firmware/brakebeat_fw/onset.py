"""How the athlete braked in a finished rep: a smooth ramp up to a steady brake, fitted to the edges behind phi = 0.

With friction taken out the wheel runs on evenly, held back a little at most, until the ramp begins. Its middle and
the brake follow from the time and the angle to the stop; from there six unknowns are fitted at once (Gauss-Newton).
The figures smooth what this leaves, so that a sudden brake is not smeared and one of another course still found.
"""

from micropython import const

from .fit import damped, ramp

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
        answer = self._answer
        length = answer[5]
        matrix, right, total = _normal(points, answer, limit)
        stiff = (noise / (_HELD_SPREAD * self._brake)) ** 2
        matrix[2][2] += stiff
        right[2] += stiff * (_HELD * self._brake - answer[2])
        stiff = (noise / _RAMP_S) ** 2
        matrix[5][5] += stiff
        right[5] += stiff * (_RAMP_S - length)
        change = damped(matrix, right) or (0.0,) * 6
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


def _normal(points, answer, limit):
    # type: (list[tuple[float, float]], list[float], float) -> tuple[list[list[float]], list[float], float]
    """Normal equations of one round, the matrix's upper half, and the sum of the residuals, none beyond ``limit``.

    Spelt out, since a rep takes hundreds of points: the unknowns add 1, t and -t^2 / 2 to the angle.
    """
    start, speed, held, brake, middle, length = answer
    s0 = s1 = s2 = s3 = s4 = r0 = r1 = r2 = total = 0.0
    ramped = []
    square_s2 = length * length
    for t, x in points:
        square = t * t
        off = x - start - t * speed + held * square / 2
        u = (t - middle) / length + 0.5
        if u > 0.0:
            lag, slope, _ = ramp(u)
            lag *= square_s2
            off += brake * lag
        size = abs(off)
        weight = 1.0
        if size > limit:
            weight = limit / size
            size = limit
        total += size
        if u > 0.0:
            # Before the ramp nothing tells of it.
            ramped.append((t, square, off, weight, lag, slope))
        off *= weight
        r0 += off
        r1 += off * t
        r2 += off * square
        if size < limit:
            s0 += 1.0
            s1 += t
            s2 += square
        else:
            s0 += weight
            s1 += weight * t
            square *= weight
            s2 += square
        s3 += square * t
        s4 += square * t * t
    s2 /= 2
    matrix = [[s0, s1, -s2], [0.0, 2.0 * s2, s3 / -2.0], [0.0, 0.0, s4 / 4.0]]
    right = [r0, r1, r2 / -2.0]
    _add_ramp(matrix, right, ramped, middle, length, brake)
    return matrix, right, total


def _add_ramp(matrix, right, ramped, middle, length, brake):
    # type: (list[list[float]], list[float], list[Any], float, float, float) -> None
    """The columns of brake, middle and length."""
    a0 = a1 = a2 = b0 = b1 = b2 = c0 = c1 = c2 = aa = ab = ac = bb = bc = cc = ra = rb = rc = 0.0
    steep = brake * length
    for t, square, off, weight, lag, slope in ramped:
        a = -lag
        b = slope * steep
        c = (b * (t - middle) - 2.0 * brake * lag) / length
        if weight < 1.0:
            off *= weight
            # Each product below has one of these.
            wa = weight * a
            wb = weight * b
            wc = weight * c
        else:
            wa = a
            wb = b
            wc = c
        ra += off * a
        rb += off * b
        rc += off * c
        a0 += wa
        a1 += wa * t
        a2 += wa * square
        b0 += wb
        b1 += wb * t
        b2 += wb * square
        c0 += wc
        c1 += wc * t
        c2 += wc * square
        aa += wa * a
        ab += wa * b
        ac += wa * c
        bb += wb * b
        bc += wb * c
        cc += wc * c
    matrix[0].extend((a0, b0, c0))
    matrix[1].extend((a1, b1, c1))
    matrix[2].extend((a2 / -2.0, b2 / -2.0, c2 / -2.0))
    matrix.extend(([0.0, 0.0, 0.0, aa, ab, ac], [0.0, 0.0, 0.0, 0.0, bb, bc], [0.0] * 5 + [cc]))
    right.extend((ra, rb, rc))


def _gather(curve, zero_rad, extension_s, wheel):
    # type: (Any, float, float, Any) -> list[tuple[float, float]]
    """Time and angle of points behind phi = 0, friction taken out; last of all what friction takes off the speed and
    how far the wheel runs to the stop."""
    us = curve.us
    xs = curve.xs
    part_rad = curve.part_rad
    begin = int((zero_rad - _LEAD_RAD) / part_rad)
    k = curve.nearest(extension_s)
    while k > 0 and xs[k] > begin:
        k -= 1
    last = curve.nearest(curve.duration_s - _CUT_S)
    every = (last - k + _POINTS - 1) // _POINTS
    points = []
    lost = lag = 0.0
    stop = curve.count - 1 - curve.mirrored
    while k < stop:
        k += 1
        # A stop may fall on its last edge.
        step = max(1, us[k] - us[k - 1]) * 1e-6
        slower = wheel.friction_rad_s2((xs[k] - xs[k - 1]) * part_rad / step) * step
        lag += (lost + slower / 2) * step
        lost += slower
        if k <= last and k % every == 0:
            points.append((us[k] * 1e-6 - extension_s, xs[k] * part_rad - zero_rad + lag))
    points.append((lost, curve.total_rad - zero_rad + lag))
    return points


def find_onset(phase, wheel):
    # type: (Any, Any) -> tuple[float | None, bool]
    """Onset in seconds from the rep's start (None: there is none) and whether the athlete braked harder than friction.

    phase: the way back. What the brake that its speeds were smoothed without has missed is told by the speeds' mean
    changes, so that a brake of any course is found.
    """
    speeds = phase.speeds
    step = phase.step_s
    braking = []
    most = 0.0
    at = 0
    left = 0.0
    lags = phase.lags
    for k in range(len(speeds)):
        if 2 <= k < len(speeds) - 2:
            left = speeds[k + 2] - speeds[k - 2] + lags[k + 2][1] - lags[k - 2][1]
            left /= 4 * step
        friction = wheel.friction_rad_s2(speeds[k])
        braking.append(left + lags[k][2] - friction)
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
