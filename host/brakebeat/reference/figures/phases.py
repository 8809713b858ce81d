"""A phase sampled finely, and its figures: duration, energy, mean and peak power, torque, force."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from brakebeat.reference.model.integral import running_integral
from brakebeat.reference.model.spline import Array
from brakebeat.reference.rig_physics import Physics
from brakebeat.results import PhaseFigures

SAMPLE_S = 0.001
# Peaks are running means over this long (a definition).
WINDOW_S = 0.05
# Within this of φ = 0 the strap has no lever arm (a definition).
DEAD_RAD = 0.5


@dataclass(frozen=True)
class Phase:
    """One phase on an even grid, ends included; all along the turning, shape (n,).

    ``t_s``, ``angle_rad`` (φ), ``speed_rad_s``, ``accel_rad_s2``; ``sign`` is +1 concentric, −1 eccentric.
    """

    t_s: Array
    angle_rad: Array
    speed_rad_s: Array
    accel_rad_s2: Array
    sign: int

    @property
    def duration_s(self) -> float:
        """How long the phase lasts."""
        return float(self.t_s[-1] - self.t_s[0])


def athlete_torque_nm(phase: Phase, physics: Physics) -> Array | None:
    """The athlete's torque, positive in either phase; None where the inertia is unknown."""
    if physics.inertia_kg_m2 is None:
        return None
    inertial = physics.inertia_kg_m2 * phase.accel_rad_s2
    return phase.sign * (inertial + physics.friction_nm(phase.speed_rad_s))


def phase_figures(
    phase: Phase, physics: Physics, lag_s: float = 0.0, power_sd_w: float = 0.0
) -> PhaseFigures:
    """All figures of a phase that began ``lag_s`` before its samples.

    Args:
        power_sd_w: standard deviation of a 50 ms mean of the power around its peak.

    Work is counted from kinetic energies (they follow from speeds alone) plus what friction took, which is
    far steadier than integrating a torque that rests on accelerations.
    """
    duration_s = phase.duration_s + lag_s
    figures = PhaseFigures(duration_s=duration_s)
    inertia = physics.inertia_kg_m2
    if inertia is None or phase.duration_s <= 0.0:
        return figures
    friction = physics.friction_nm(phase.speed_rad_s)
    impulse = phase.sign * (inertia * phase.speed_rad_s + running_integral(friction, phase.t_s))
    work = phase.sign * (
        0.5 * inertia * phase.speed_rad_s**2 + running_integral(friction * phase.speed_rad_s, phase.t_s)
    )
    figures.energy_j = float(work[-1] - work[0])
    figures.mean_power_w = figures.energy_j / duration_s
    figures.peak_power_w = greatest_mean(phase.t_s, work, power_sd_w)
    # Torque errs as power does, by the speed at which it acts.
    torque_sd = power_sd_w / max(float(phase.speed_rad_s.max()), 1e-3)
    figures.peak_torque_nm = greatest_mean(phase.t_s, impulse, torque_sd)
    figures.peak_force_n = _peak_force_n(phase, physics, torque_sd)
    return figures


def _peak_force_n(phase: Phase, physics: Physics, torque_sd_nm: float) -> float | None:
    """Greatest 50 ms mean of torque over radius, outside the dead point."""
    radius = physics.radius_m(phase.angle_rad)
    torque = athlete_torque_nm(phase, physics)
    armed = np.abs(phase.angle_rad) >= DEAD_RAD
    if radius is None or torque is None or armed.sum() < 2 or np.any(radius <= 0.0):
        return None
    t = phase.t_s[armed]
    sd = torque_sd_nm / float(radius[armed].mean())
    return greatest_mean(t, running_integral(torque[armed] / radius[armed], t), sd)


def greatest_mean(t_s: Array, integral: Array, sd: float = 0.0) -> float | None:
    """Greatest 50 ms running mean of what ``integral`` is the integral of; None in a shorter phase.

    The greatest of several means that each err by ``sd`` errs upwards: what that comes to for as many separate
    windows as lie within two ``sd`` of the top is taken off.
    """
    room = float(t_s[-1] - t_s[0]) - WINDOW_S
    if room < 0.0:
        return None
    starts, means = _window_means(t_s, integral, room)
    top = float(means.max())
    close = float((means > top - 2.0 * sd).sum()) * float(starts[1] - starts[0])
    return top - sd * _expected_excess(1.0 + close / WINDOW_S)


def best_window(t_s: Array, integral: Array) -> float | None:
    """Start of the greatest 50 ms running mean."""
    room = float(t_s[-1] - t_s[0]) - WINDOW_S
    if room < 0.0:
        return None
    starts, means = _window_means(t_s, integral, room)
    return float(starts[int(np.argmax(means))])


def _window_means(t_s: Array, integral: Array, room: float) -> tuple[Array, Array]:
    starts = np.linspace(t_s[0], t_s[0] + room, int(np.ceil(room / SAMPLE_S)) + 2)
    means = (np.interp(starts + WINDOW_S, t_s, integral) - np.interp(starts, t_s, integral)) / WINDOW_S
    return starts, means


def _expected_excess(count: float) -> float:
    """Mean of the greatest of ``count`` standard normal numbers (Blom's approximation, from memory)."""
    return NormalDist().inv_cdf((count - 0.375) / (count + 0.25))
