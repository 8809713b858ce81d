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
# What the half window of the peak grows by, s per rad of noise.
_WIDER_S_PER_RAD = const(4.0)


class Wheel:
    """What the rig file says of the wheel, as far as a rep's figures need it."""

    def __init__(self, rig):
        # type: (dict[str, Any]) -> None
        self.inertia_kg_m2 = rig["inertia_kg_m2"]
        self.radius_m = rig["drum_radius_m"]
        self.taper_m_per_rad = rig["drum_taper_m_per_rad"] + rig["strap_thickness_m"] / 6.2831853
        self.rest_nm = rig["friction_torque_nm"]
        self.viscous_nm_s = rig["friction_viscous_nm_s"]
        self.drag_nm_s2 = rig["friction_drag_nm_s2"]

    def friction_nm(self, speed_rad_s):
        # type: (float) -> float
        """Friction torque at a speed, N·m."""
        return self.rest_nm + speed_rad_s * (self.viscous_nm_s + speed_rad_s * self.drag_nm_s2)

    def friction_rad_s2(self, speed_rad_s):
        # type: (float) -> float
        """What friction takes off the speed at a speed; 0 where the inertia is unknown."""
        if self.inertia_kg_m2 is None:
            return 0.0
        return self.friction_nm(max(speed_rad_s, 0.0)) / self.inertia_kg_m2

    def frictionless(self):
        # type: () -> bool
        """True where the rig states no friction at all."""
        return not (self.rest_nm or self.viscous_nm_s or self.drag_nm_s2)


class Phase:
    """One phase: speeds on an even grid that ends (or starts) at the turnaround, where the speed is 0."""

    def __init__(self, curve, turn, turn_s, span_s, sign, half_s, spacing_rad, taken):
        # type: (Any, Any, float, float, int, float, float, Any) -> None
        """turn, turn_s: the turnaround and its time; span_s: duration; sign: +1 where the phase runs on from it,
        -1 up to it; half_s: least half window of the speeds; taken: the Brake that was taken out of the curve."""
        parts = 4
        while parts > 1 and span_s * parts > _MEAN_S * (_GRID_MOST - 2):
            parts -= 1
        self.parts = parts
        self.step_s = _MEAN_S / parts
        self.turn_s = turn_s
        self.sign = sign
        self.span_s = span_s
        count = min(int(span_s / self.step_s) + 1, _GRID_MOST)
        self.speeds = array("f", [0.0] * count)
        hint = 0 if sign > 0 else curve.count
        for k in range(1, count):
            u = k * self.step_s
            t = turn_s + sign * u
            hint = curve.nearest(t, hint)
            near = 2.0 - 2.0 * u / turn.reach_s
            speed = 0.0
            if near < 1.0:
                half = half_s
                if taken is None or taken.fits:
                    half = max(half, min(_WIDEST_S, _HALF_TURN / max(self.speeds[k - 1], 1.0)))
                speed = curve.speed_at(t, half, 6, 2, hint)[0]
                if taken is not None:
                    speed -= taken.lag(t)[1]
                speed = max(speed, 0.0)
            if near > 0.0:
                # Close to the turnaround the fit that placed it speaks, further off the points, between both.
                near = min(near, 1.0)
                speed = near * max(turn.speed(u, spacing_rad), 0.0) + (1.0 - near) * speed
            self.speeds[k] = speed

    def friction_j(self, wheel, angle_rad, edge_speed_rad_s):
        # type: (Wheel, float, float) -> float
        """Energy that friction takes over the phase; edge_speed_rad_s: speed at phi = 0."""
        square = 0.0
        cube = 0.0
        speeds = self.speeds
        last = len(speeds) - 1
        for k in range(last):
            mean = (speeds[k] + speeds[k + 1]) / 2
            square += mean * mean
            cube += mean * mean * mean
        mean = (speeds[last] + edge_speed_rad_s) / 2
        share = (self.span_s - last * self.step_s) / self.step_s
        square += share * mean * mean
        cube += share * mean * mean * mean
        loss = wheel.rest_nm * angle_rad
        return loss + self.step_s * (wheel.viscous_nm_s * square + wheel.drag_nm_s2 * cube)

    def greatest(self, wheel, curve, zero_s, zero_rad):
        # type: (Wheel, Any, float, float) -> tuple[float, float, float]
        """Greatest 50 ms means of the athlete's power (W), torque (N·m) and force (N, NaN where unknown)."""
        speeds = self.speeds
        parts = self.parts
        inertia = wheel.inertia_kg_m2
        most_power = 0.0
        most_torque = 0.0
        most_force = NAN
        place = 0
        for k in range(len(speeds) - parts):
            near = speeds[k]
            far = speeds[k + parts]
            middle = (near + far) / 2
            friction = self.sign * wheel.friction_nm(middle)
            torque = inertia * (far - near) / _MEAN_S + friction
            power = inertia * (far * far - near * near) / (2.0 * _MEAN_S) + friction * middle
            if power > most_power:
                most_power = power
            if torque > most_torque:
                most_torque = torque
            if wheel.radius_m is not None:
                t = self.turn_s + self.sign * (k + parts / 2) * self.step_s
                place = curve.nearest(t, place)
                away = abs(curve.angle_at(t, place) - zero_rad)
                if away - middle * _MEAN_S / 2 > 0.5:
                    force = torque / (wheel.radius_m + wheel.taper_m_per_rad * away)
                    if not force <= most_force:
                        most_force = force
        return most_power, most_torque, most_force


class Figures:
    """Everything that a rep's record says, computed from its curve."""

    def __init__(self, curve, start, stop, zero_rad, spacing_rad, wheel):
        # type: (Any, Any, Any, float, float, Wheel) -> None
        """start, stop: the rep's turnarounds; zero_rad: path angle of phi = 0."""
        duration_s = curve.duration_s
        self.concentric_rad = zero_rad
        self.eccentric_rad = curve.total_rad - zero_rad
        self.extension_s = extension_s = curve.time_at(zero_rad)
        # Scale of the rep's accelerations: from rest to phi = 0 in that time.
        usual_rad_s2 = 2.0 * zero_rad / (extension_s * extension_s)
        half_s = max(0.02, curve.half_width(usual_rad_s2, 0.015))
        pull = Phase(curve, start, 0.0, extension_s, 1, half_s, spacing_rad, None)
        fitted = Brake(curve, zero_rad, extension_s, wheel)
        self.held = fitted.held(zero_rad)
        # Without the fitted brake the way back is smooth enough to be averaged.
        xs = curve.xs
        curve.xs = array("f", xs)
        for k in range(curve.nearest(extension_s, 0), curve.count):
            curve.xs[k] += fitted.lag(curve.ts[k])[0]
        brake = Phase(curve, stop, duration_s, duration_s - extension_s, -1, half_s, spacing_rad, fitted)
        curve.xs = xs
        self.onset_s = self.braked = None
        if wheel.inertia_kg_m2 is not None or wheel.frictionless():
            self.onset_s, self.braked = find_onset(brake, fitted, wheel)
        self.peak_s, self.peak_rad_s = _peak(curve, pull, brake)
        self.brake_fraction = NAN
        if self.onset_s is not None:
            self.brake_fraction = (curve.angle_at(self.onset_s, 0) - zero_rad) / zero_rad
        self.concentric = (NAN, NAN, NAN, NAN, NAN)
        self.eccentric = (NAN, NAN, NAN, NAN, NAN)
        if wheel.inertia_kg_m2 is not None:
            edge_half_s = 0.04 + _WIDER_S_PER_RAD * curve.noise_rad
            edge_speed = curve.speed_at(extension_s, edge_half_s, 8, 3, 0)[0]
            stored_j = wheel.inertia_kg_m2 * edge_speed * edge_speed / 2.0
            energy = stored_j + pull.friction_j(wheel, self.concentric_rad, edge_speed)
            self.concentric = (energy, energy / extension_s) + pull.greatest(
                wheel, curve, extension_s, zero_rad
            )
            energy = stored_j - brake.friction_j(wheel, self.eccentric_rad, edge_speed)
            most = brake.greatest(wheel, curve, extension_s, zero_rad)
            self.eccentric = (energy, energy / (duration_s - extension_s)) + most

    def forget_accelerations(self):
        # type: () -> None
        """Too few edges: what rests on accelerations is not known, energies and mean powers are."""
        self.concentric = self.concentric[:2] + (NAN, NAN, NAN)
        self.eccentric = self.eccentric[:2] + (NAN, NAN, NAN)
        self.onset_s = None
        self.braked = None
        self.brake_fraction = NAN


def _peak(curve, pull, brake):
    # type: (Any, Phase, Phase) -> tuple[float, float]
    """Time and size of the greatest speed: the grid's best, then the vertex of a local cubic."""
    best = 0.0
    at = 0.0
    for phase in (pull, brake):
        for k in range(len(phase.speeds)):
            if phase.speeds[k] > best:
                best = phase.speeds[k]
                at = phase.turn_s + phase.sign * k * phase.step_s
    # Noise asks for a wider window, which a broad peak can bear.
    half_s = 0.05 + _WIDER_S_PER_RAD * curve.noise_rad
    first, last = curve.window(at, min(half_s, 0.1), 9, curve.nearest(at, 0))
    answer, scale = curve.fit(at, first, last, 3)
    u = 0.0
    if answer[3] < 0.0:
        low = (curve.ts[first] - at) / scale
        high = (curve.ts[last] - at) / scale
        u = max(low / 2, min(high / 2, -answer[2] / (3.0 * answer[3])))
    speed = (answer[1] + u * (2.0 * answer[2] + u * 3.0 * answer[3])) / scale
    return at + u * scale, speed
