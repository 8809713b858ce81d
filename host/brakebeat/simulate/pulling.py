"""The concentric phase: the athlete's pull as a torque on the shaft."""

from __future__ import annotations

from brakebeat.errors import InputError
from brakebeat.simulate.athlete import Athlete, Tremor
from brakebeat.simulate.dynamics import Piece, TorqueLaw, integrate
from brakebeat.simulate.plan import RepPlan
from brakebeat.simulate.wheel import Wheel, smooth_step

# How fast a slack strap lets go and comes taut again, as a fraction of the range.
_SLACK_EDGE = 0.06


def pull_law(
    wheel: Wheel,
    athlete: Athlete,
    rep: RepPlan,
    range_rad: float,
    *,
    strength: float = 1.0,
    taut_nm: float = 0.0,
    start_s: float = 0.0,
    tremor: Tremor | None = None,
) -> TorqueLaw:
    """The torque law of a pull over ``range_rad``, angle running from −range to 0.

    Args:
        strength: what fatigue leaves of the athlete's force.
        taut_nm: torque that the strap still carries from the braking before (the wheel turns straight
            round); it fades as the pull builds up, so that the torque is continuous through the turnaround.
    """
    scale = rep.effort * strength
    ease_rad = athlete.ease_off * range_rad
    slack_from, slack_to = rep.slack or (2.0, 3.0)

    def law(t: float, angle: float, speed: float) -> float:
        if angle >= 0.0:
            return 0.0
        lever = wheel.lever_m(angle)
        pull = scale * athlete.tension_n(speed * lever) * lever
        if -angle < ease_rad:
            pull *= smooth_step(-angle / ease_rad)
        if rep.slack is not None:
            done = 1.0 + angle / range_rad
            gone = smooth_step((done - slack_from) / _SLACK_EDGE)
            back = smooth_step((done - slack_to) / _SLACK_EDGE)
            pull *= 1.0 - gone + back
        built = smooth_step((t - start_s) / rep.rise_s)
        pull = built * pull + (1.0 - built) * taut_nm
        return pull * tremor(t) if tremor else pull

    return law


def pull(wheel: Wheel, law: TorqueLaw, start_s: float, range_rad: float) -> Piece:
    """Integrate a pull from rest on the wound strap to φ = 0.

    The piece starts with the first motion, the instant at which the pull first beats friction.

    Raises:
        InputError: friction stops the wheel before the strap is paid out.
    """
    moving_s = _first_motion_s(wheel, law, start_s, range_rad)
    piece = integrate(wheel, law, (moving_s, -range_rad, 0.0), until="angle", limit=0.0, chunk_s=1.0)
    if piece.angle_rad[-1] < -1e-6:
        raise InputError(
            f"effort: the wheel stops {-piece.angle_rad[-1]:.2g} rad before the strap is out; pull harder"
        )
    return piece


def _first_motion_s(wheel: Wheel, law: TorqueLaw, start_s: float, range_rad: float) -> float:
    def surplus(t: float) -> float:
        return law(t, -range_rad, 0.0) - wheel.friction_torque_nm

    if surplus(start_s) > 0.0:
        return start_s
    late = start_s
    while surplus(late) <= 0.0:
        late += 0.002
        if late > start_s + 3.0:
            raise InputError("effort: the pull never beats the wheel's friction; pull harder")
    early = late - 0.002
    for _ in range(40):
        middle = 0.5 * (early + late)
        early, late = (early, middle) if surplus(middle) > 0.0 else (middle, late)
    return late
