"""The figures of one finished rep: floats, once a rep. Definitions are those of the wire record's fields."""

from array import array

from micropython import const

from .onset import Brake, find_onset

NAN = float("nan")

# Running means go over 50 ms.
_MEAN_S = const(0.05)
_GRID_MOST = const(256)
# Speeds come from parabolas over a whole turn, in which the magnets' offsets cancel, but no more than this to a side.
_HALF_TURN = const(3.1416)
_WIDEST_S = const(0.08)
# Speeds are fitted so many half windows apart.
_FITS_A_WINDOW = const(0.7)
# Points around phi = 0 that are off the cubic through their neighbours by so many times the noise show a kink, which
# takes good edges; points of the last window of a pull that ends in one.
_KINK = const(3.0)
_SMOOTH_RAD = const(1.2e-3)
_LEAST_NOISE_RAD = const(1e-4)
_CUT_FEWEST = const(7)
# What the half window of the peak grows by, s per rad of noise.
_WIDER_S_PER_RAD = const(4.0)
# Half window of the peak, seconds.
_PEAK_S = const(0.065)
_PEAK_S_PER_RAD = const(10.0)
_PEAK_MOST_S = const(0.11)
# Few magnets: so many points, since what more of them reach out to is no cubic any more (7 double the error at one).
_PEAK_FEWEST = const(5)


class Wheel:
    """What the rig file says of the wheel, as far as a rep's figures need it."""

    def __init__(self, rig):
        # type: (dict[str, Any]) -> None
        self.inertia_kg_m2 = rig["inertia_kg_m2"]
        self.radius_m = rig["drum_radius_m"]
        self.taper_m_per_rad = rig["drum_taper_m_per_rad"] + rig["strap_thickness_m"] / 6.2831853
        self.friction = (rig["friction_torque_nm"], rig["friction_viscous_nm_s"], rig["friction_drag_nm_s2"])

    def friction_nm(self, speed_rad_s):
        # type: (float) -> float
        """Friction torque at a speed, N·m."""
        rest_nm, viscous_nm_s, drag_nm_s2 = self.friction
        return rest_nm + speed_rad_s * (viscous_nm_s + speed_rad_s * drag_nm_s2)

    def friction_rad_s2(self, speed_rad_s):
        # type: (float) -> float
        """What friction takes off the speed at a speed; 0 where the inertia is unknown."""
        if self.inertia_kg_m2 is None:
            return 0.0
        return self.friction_nm(max(speed_rad_s, 0.0)) / self.inertia_kg_m2


class Phase:
    """One phase: speeds on an even grid that ends (or starts) at the turnaround, where the speed is 0."""

    def __init__(self, curve, turn, span_s, sign, half_s, spacing_rad, taken, cut=False):
        # type: (Any, Any, float, int, float, float, Brake, bool) -> None
        """turn: the turnaround; span_s: duration; sign: +1 where the phase runs on from it, -1 up to it; half_s: least
        half window of the speeds; taken: the Brake that was taken out of the curve; cut: the curve ends at phi = 0."""
        self._parts = parts = max(1, min(4, int(_MEAN_S * (_GRID_MOST - 2) / span_s)))
        self.step_s = _MEAN_S / parts
        self.turn_s = 0.0 if sign > 0 else curve.duration_s
        self._sign = sign
        self.span_s = span_s
        count = min(int(span_s / self.step_s) + 1, _GRID_MOST)
        self.speeds = array("f", [0.0] * count)
        # What the brake had taken off at each of these times, on the way back.
        self.lags = [taken.lag(self.turn_s - k * self.step_s) for k in range(count)] if sign < 0 else []
        self.top = (0.0, 0.0)  # greatest speed and its time
        there = (0.0, 0.0)
        place = step = 0
        while place - step < count - 1:
            t = self.turn_s + sign * place * self.step_s
            half = half_s
            if taken.fits or sign > 0:
                half = max(half, min(_WIDEST_S, _HALF_TURN / max(there[0], 1.0)))
            if sign > 0:
                # Near its end less of a window lies behind: that much more in front.
                half = max(half, 2.0 * half_s - (span_s - t))
            here = there
            there = curve.speed_at(t, half, _CUT_FEWEST if cut else 6, 3 if cut else 2)
            # A cubic in the share of the way from one to the other, both with their accelerations.
            first = here[1] * sign * step * self.step_s
            last = there[1] * sign * step * self.step_s
            gain = there[0] - here[0]
            bend = 3.0 * gain - 2.0 * first - last
            twist = first + last - 2.0 * gain
            for k in range(max(1, place - step + 1), min(place + 1, count)):
                u = k * self.step_s
                t = self.turn_s + sign * u
                past = (k - place + step) / step
                speed = here[0] + past * (first + past * (bend + past * twist))
                if sign < 0:
                    speed -= self.lags[k][1]
                if u < turn.reach_s:
                    # Close to the turnaround the fit that placed it speaks, further off the points, between both.
                    near = min(1.0, 2.0 - 2.0 * u / turn.reach_s)
                    speed = near * turn.speed(u, spacing_rad) + (1.0 - near) * speed
                self.speeds[k] = speed = max(0.0, speed)
                if speed > self.top[0]:
                    self.top = (speed, t)
            # Well within a window a cubic from fit to fit says as much as fits in between.
            step = max(1, int(_FITS_A_WINDOW * half / self.step_s))
            place += step

    def figures(self, wheel, angle_rad, stored_j, few):
        # type: (Wheel, float, float, bool) -> tuple[float, float, float, float, float]
        """The athlete's energy (J) and mean power (W), greatest 50 ms means of power, torque (N·m) and force (N).

        angle_rad: of the whole phase; stored_j: in the wheel at phi = 0; few: greatest ones cannot be told.
        """
        speeds = self.speeds
        parts = self._parts
        inertia = wheel.inertia_kg_m2
        energy = stored_j
        power = torque = 0.0
        force = NAN
        away = angle_rad
        rest_nm, viscous_nm_s, drag_nm_s2 = [self._sign * part for part in wheel.friction]
        friction = rest_nm
        for k in range(1, len(speeds)):
            far = speeds[k]
            middle = (speeds[k - 1] + far) / 2
            friction = rest_nm + middle * (viscous_nm_s + middle * drag_nm_s2)
            moved = middle * self.step_s
            away -= moved
            energy += friction * moved
            if k >= parts:
                near = speeds[k - parts]
                middle = (near + far) / 2
                change = inertia * (far - near) / _MEAN_S
                change += rest_nm + middle * (viscous_nm_s + middle * drag_nm_s2)
                power = max(power, change * middle)
                torque = max(torque, change)
                # Within half a radian of phi = 0 the strap has no lever arm.
                if wheel.radius_m is not None and away > 0.5:
                    radius = wheel.radius_m + wheel.taper_m_per_rad * (away + middle * _MEAN_S / 2)
                    if not change / radius <= force:
                        force = change / radius
        energy += friction * away
        if few:
            power = torque = force = NAN
        return energy, energy / self.span_s, power, torque, force


class Figures:
    """Everything that a rep's record says, computed from its curve."""

    def __init__(self, wheel, few):
        # type: (Wheel, bool) -> None
        """few: edges too few to tell what rests on accelerations; energies and mean powers do not."""
        self._wheel = wheel
        self._few = few

    def work_out(self, curve, start, stop, zero_rad, spacing_rad):
        # type: (Any, Any, Any, float, float) -> Any
        """A part of them at each step.

        start, stop: the rep's turnarounds; zero_rad: path angle of phi = 0.
        """
        wheel = self._wheel
        few = self._few
        self.concentric_rad = zero_rad
        self.eccentric_rad = curve.total_rad - zero_rad
        self.extension_s = extension_s = curve.time_at(zero_rad)
        # Scale of the rep's accelerations: from rest to phi = 0 in that time.
        usual_rad_s2 = 2.0 * zero_rad / (extension_s * extension_s)
        half_s = max(0.02, curve.half_width(usual_rad_s2, 0.015))
        edge_half_s = 0.04 + _WIDER_S_PER_RAD * curve.noise_rad
        edge_speed = curve.speed_at(extension_s, edge_half_s, 8, 3)[0]
        fitted = Brake(curve, zero_rad, extension_s, wheel)
        self.held = fitted.held
        yield
        # Without the fitted brake the way back is smooth enough to be averaged.
        xs = curve.xs
        if fitted.fits:
            curve.xs = array("i", xs)
            for k in range(curve.nearest(extension_s), curve.count):
                curve.xs[k] += int(fitted.lag(curve.us[k] * 1e-6)[0] / curve.part_rad)
        # Where the pull ends at once no window reaches over that: it would take the top off its power. A cubic stands
        # in for a parabola, since the pull may as well fade within the last few points.
        count = curve.count
        last = curve.nearest(extension_s)
        cut = curve.noise_rad < _SMOOTH_RAD
        if cut:
            off = max(curve.strays(last - 1, min(last + 3, count - 2)))
            cut = off > _KINK * max(curve.noise_rad, _LEAST_NOISE_RAD)
        if cut:
            curve.count = last + 1
        pull = Phase(curve, start, extension_s, 1, half_s, spacing_rad, fitted, cut)
        curve.count = count
        yield
        brake = Phase(curve, stop, curve.duration_s - extension_s, -1, half_s, spacing_rad, fitted)
        yield
        curve.xs = xs
        self.peak_s, self.peak_rad_s = _peak(curve, max(pull.top, brake.top)[1])
        self.onset_s = self.braked = None
        self.brake_fraction = NAN
        self.concentric = self.eccentric = (NAN, NAN, NAN, NAN, NAN)
        inertia = wheel.inertia_kg_m2
        # Of an unknown inertia friction alone cannot be taken out.
        if not few and (inertia is not None or not wheel.friction_nm(1.0)):
            self.onset_s, self.braked = find_onset(brake, wheel)
        if self.onset_s is not None:
            self.brake_fraction = (curve.angle_at(self.onset_s) - zero_rad) / zero_rad
        if inertia is not None:
            stored_j = inertia * edge_speed * edge_speed / 2.0
            self.concentric = pull.figures(wheel, zero_rad, stored_j, few)
            self.eccentric = brake.figures(wheel, self.eccentric_rad, stored_j, few)


def _peak(curve, at):
    # type: (Any, float) -> tuple[float, float]
    """Time and size of the greatest speed: the vertex of a local cubic around ``at``."""
    # A cubic is true about that far; noise asks for more, which a broad peak can bear.
    half_s = min(_PEAK_S + _PEAK_S_PER_RAD * curve.noise_rad, _PEAK_MOST_S)
    speed = 0.0
    for _ in range(2):
        # Again about the vertex: a lopsided window leans.
        first, last = curve.window(at, half_s, _PEAK_FEWEST)
        _, c1, c2, c3, middle, scale = curve.fit(first, last, 3)
        low = curve.us[first] * 1e-6
        high = curve.us[last] * 1e-6
        # Where edges were lost all points may lie to one side.
        at = max(low, min(high, at))
        if c3 < 0.0:
            # No nearer to an end of the window than half-way from where it was looked for.
            at = max((at + low) / 2, min((at + high) / 2, middle - c2 / (3.0 * c3) * scale))
        u = (at - middle) / scale
        speed = (c1 + u * (2.0 * c2 + u * 3.0 * c3)) / scale
    return at, speed
