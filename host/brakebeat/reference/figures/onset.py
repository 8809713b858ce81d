"""Brake onset: looking back from the peak of the braking torque, where it first exceeded a tenth of that peak."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brakebeat.reference.figures.phases import Phase
from brakebeat.reference.model.spline import Array
from brakebeat.reference.rig_physics import Physics

ONSET_SHARE = 0.1
# Friction is known no better than to this part of it (common experience, no source).
_FRICTION_DOUBT = 0.02
_SIGNIFICANT = 2.0
# How hard an athlete brakes who yields is the mean over this time, which ends so long before the torque comes to that
# part of its peak: speeds tell a mean far better than the spline tells any instant's torque.
_YIELDS_S, _BEFORE_S, _BRAKING_SHARE = 0.1, 0.1, 0.25
# ... or, where he brakes sooner after φ = 0, over what there is that ends so long before.
_LEAST_S = 0.04
# A mean over less time is known less well, and has to be above what counts as braking by more.
_MARGIN_S = 0.01
# The whole of it is no more than so many times its first half.
_EVEN = 1.4


@dataclass(frozen=True)
class Onset:
    """Brake onset at ``t_s`` and ``angle_rad`` past φ = 0; ``jerk_rad_s3`` is how steeply braking grows there.

    ``yields``: how hard the athlete brakes before that, as a part of the peak; None where that is not told. ``held``:
    he brakes as hard as counts as braking long before he brakes in earnest.
    """

    t_s: float
    angle_rad: float
    jerk_rad_s3: float
    yields: float | None = None
    held: bool = False


def knows_braking(physics: Physics) -> bool:
    """Whether braking can be told from friction: the inertia is known, or there is no friction to take out."""
    return physics.inertia_kg_m2 is not None or not physics.has_friction


def brakes(phase: Phase, physics: Physics, speed_sd_rad_s: float) -> bool:
    """Whether the athlete took more out of the wheel than noise and doubt about friction explain.

    By energy, which is known far better than any instant's torque: what the wheel had at φ = 0, less friction's work.

    Args:
        speed_sd_rad_s: standard deviation of the speed at φ = 0.
    """
    inertia = physics.inertia_kg_m2 or 1.0
    speed = float(phase.speed_rad_s[0])
    had = 0.5 * inertia * speed**2
    lost = float(np.trapezoid(physics.friction_nm(phase.speed_rad_s) * phase.speed_rad_s, phase.t_s))
    return had - lost > _SIGNIFICANT * float(
        np.hypot(inertia * speed * speed_sd_rad_s, _FRICTION_DOUBT * lost)
    )


def find_onset(phase: Phase, physics: Physics) -> Onset | None:
    """The onset in an eccentric phase; None where the athlete never brakes harder than friction does."""
    inertia = physics.inertia_kg_m2 or 1.0
    friction = physics.friction_nm(phase.speed_rad_s) / inertia
    braking = -phase.accel_rad_s2 - friction
    peak = int(np.argmax(braking))
    if braking[peak] <= max(friction[peak], 0.0):
        return None
    level = ONSET_SHARE * braking[peak]
    window = _yielding(phase, braking, peak)
    yields, held, first = None, False, 0
    if window is not None:
        length_s = float(phase.t_s[window.stop] - phase.t_s[window.start])
        yields = float(braking[window].mean() / braking[peak])
        first = (window.start + window.stop) // 2
        # One who yields does so evenly; what still grows is the brake itself.
        early = float(braking[window.start : first].mean() / braking[peak])
        held = yields > (1.0 + _MARGIN_S / length_s) * ONSET_SHARE and yields < _EVEN * early
    if held:
        at = _held_since(phase, braking, level, first)
        t = float(phase.t_s[at])
        return Onset(t, float(phase.angle_rad[at]), float(level / _LEAST_S), yields, held)
    below = first + np.flatnonzero(braking[first:peak] <= level)
    at = int(below[-1]) if len(below) else 0
    share = (level - braking[at]) / (braking[at + 1] - braking[at]) if len(below) else 0.0
    t = phase.t_s[at] + share * (phase.t_s[at + 1] - phase.t_s[at])
    later = min(at + 20, peak)
    rise = (braking[later] - braking[at]) / max(phase.t_s[later] - phase.t_s[at], 1e-3)
    return Onset(float(t), float(np.interp(t, phase.t_s, phase.angle_rad)), float(max(rise, 1.0)), yields)


def _yielding(phase: Phase, braking: Array, peak: int) -> slice | None:
    """Where the athlete still yields; None where he brakes too soon after φ = 0 to tell."""
    low = np.flatnonzero(braking[:peak] <= _BRAKING_SHARE * braking[peak])
    if not len(low):
        return None
    brakes_s, first_s = float(phase.t_s[low[-1]]), float(phase.t_s[0])
    end_s = brakes_s - _BEFORE_S if brakes_s - _BEFORE_S - first_s >= _LEAST_S else brakes_s - _LEAST_S
    start, end = np.searchsorted(phase.t_s, [end_s - _YIELDS_S, end_s]).tolist()
    return slice(start, end) if end_s - first_s >= 0.5 * _LEAST_S else None


def _held_since(phase: Phase, braking: Array, level: float, until: int) -> int:
    """From when on the mean braking torque is above a level until a time, whose number is given."""
    step_s = float(phase.t_s[1] - phase.t_s[0])
    width = max(round(_LEAST_S / step_s), 1)
    total = np.append(0.0, np.cumsum(braking[: until + width]))
    mean = (total[width:] - total[:-width]) / width
    below = np.flatnonzero(mean[:until] <= level)
    return min(int(below[-1]) + width // 2, until) if len(below) else 0
