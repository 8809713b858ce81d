"""A phase's figures by their definitions, from dense torque and speed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from brakebeat.results import PhaseFigures
from brakebeat.simulate.wheel import DEAD_RAD, Wheel

WINDOW_S = 0.05
_START_GRID_S = 0.00025

Array = NDArray[np.float64]


def phase_figures(
    wheel: Wheel, t_s: Array, angle_rad: Array, speed_rad_s: Array, torque_nm: Array
) -> PhaseFigures:
    """Duration, energy, mean and peak figures of one phase.

    Args:
        t_s, angle_rad, speed_rad_s, torque_nm: dense knots over exactly the phase, shape (n,); angle and
            speed along the turning, torque the athlete's, positive in either phase.

    Peaks are the greatest 50 ms running mean inside the phase; the force's lies outside the dead point.
    """
    duration = float(t_s[-1] - t_s[0])
    power = CubicSpline(t_s, torque_nm * speed_rad_s).antiderivative()
    energy = float(power(t_s[-1]))
    armed = np.abs(angle_rad) >= DEAD_RAD
    force = None
    if armed.sum() > 3:
        pull_n = torque_nm[armed] / wheel.radius_m(angle_rad[armed])
        force = _greatest_mean(CubicSpline(t_s[armed], pull_n).antiderivative(), t_s[armed])
    return PhaseFigures(
        duration_s=duration,
        energy_j=energy,
        mean_power_w=energy / duration,
        peak_power_w=_greatest_mean(power, t_s),
        peak_torque_nm=_greatest_mean(CubicSpline(t_s, torque_nm).antiderivative(), t_s),
        peak_force_n=force,
    )


def _greatest_mean(integral: CubicSpline, t_s: Array) -> float | None:
    """Greatest 50 ms running mean of what ``integral`` is the antiderivative of; None in a shorter phase."""
    room = float(t_s[-1] - t_s[0]) - WINDOW_S
    if room < 0.0:
        return None
    starts = t_s[0] + np.linspace(0.0, room, 2 + round(room / _START_GRID_S))
    return float(np.max(integral(starts + WINDOW_S) - integral(starts)) / WINDOW_S)
