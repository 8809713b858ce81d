"""The brake onset of a finished rep: where braking torque first exceeded a tenth of its peak and stayed above."""

# The tenth is part of the definition of the onset.
SHARE = 0.1
_STEP_S = 0.01


def find_onset(curve, brake, wheel):
    # type: (Any, Any, Any) -> tuple[float | None, bool | None]
    """Onset in seconds from the rep's start (None: there is none) and whether the athlete braked.

    brake: the eccentric Phase. The second is None where it cannot be known (friction is stated but the inertia is
    not).
    """
    inertia = wheel.inertia_kg_m2
    if inertia is None:
        if not wheel.frictionless():
            return None, None
        inertia = 1.0
    extension_s = brake.turn_s - brake.span_s
    usual_rad_s2 = brake.speeds[len(brake.speeds) - 1] / brake.span_s
    half_s = max(0.02, curve.half_width(usual_rad_s2, 0.08))
    most = 0.0
    most_at = None
    most_friction = 0.0
    torques = []
    hint = 0
    for k in range(int(brake.span_s / _STEP_S)):
        t = extension_s + k * _STEP_S
        hint = curve.nearest(t, hint)
        speed, acceleration = curve.speed_at(t, half_s, 5, 2, hint)
        friction = wheel.friction_nm(max(speed, 0.0))
        torque = -inertia * acceleration - friction
        torques.append(torque)
        if torque > most:
            most = torque
            most_at = k
            most_friction = friction
    if most_at is None or most <= most_friction:
        return None, False
    limit = SHARE * most
    k = most_at
    while k > 0 and torques[k - 1] > limit:
        k -= 1
    if k == 0:
        return extension_s, True
    share = (limit - torques[k - 1]) / (torques[k] - torques[k - 1])
    return extension_s + (k - 1 + share) * _STEP_S, True
