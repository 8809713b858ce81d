"""Brake onset: looking back from the peak of the braking torque, where it first exceeded a tenth of that peak."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brakebeat.reference.figures.phases import Phase
from brakebeat.reference.rig_physics import Physics

ONSET_SHARE = 0.1
# Friction is known no better than to this part of it (common experience, no source).
_FRICTION_DOUBT = 0.02
_SIGNIFICANT = 2.0


@dataclass(frozen=True)
class Onset:
    """Brake onset at ``t_s`` and ``angle_rad`` past φ = 0; ``jerk_rad_s3`` is how steeply braking grows there."""

    t_s: float
    angle_rad: float
    jerk_rad_s3: float


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
    below = np.flatnonzero(braking[:peak] <= level)
    at = int(below[-1]) if len(below) else 0
    share = (level - braking[at]) / (braking[at + 1] - braking[at]) if len(below) else 0.0
    t = phase.t_s[at] + share * (phase.t_s[at + 1] - phase.t_s[at])
    later = min(at + 20, peak)
    rise = (braking[later] - braking[at]) / max(phase.t_s[later] - phase.t_s[at], 1e-3)
    return Onset(float(t), float(np.interp(t, phase.t_s, phase.angle_rad)), float(max(rise, 1.0)))
