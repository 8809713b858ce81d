"""Mechanics of a flywheel, its drum and its strap. SI units; arrays go in and come out elementwise."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Numbers = NDArray[np.float64]


def disc_inertia_kg_m2(mass_kg: float, radius_m: float) -> float:
    """Moment of inertia of a solid disc about its axis: m·r²/2."""
    return 0.5 * mass_kg * radius_m**2


def annulus_inertia_kg_m2(mass_kg: float, inner_radius_m: float, outer_radius_m: float) -> float:
    """Moment of inertia of a flat ring about its axis: m·(r² + R²)/2."""
    return 0.5 * mass_kg * (inner_radius_m**2 + outer_radius_m**2)


def point_inertia_kg_m2(mass_kg: ArrayLike, radius_m: ArrayLike) -> float:
    """Moment of inertia of small masses (bolts, washers) at given distances from the axis: sum of m·r²."""
    return float(np.sum(np.asarray(mass_kg, float) * np.asarray(radius_m, float) ** 2))


def drum_radius_at_m(
    angle_rad: ArrayLike,
    drum_radius_m: float,
    strap_thickness_m: float = 0.0,
    drum_taper_m_per_rad: float = 0.0,
) -> Numbers:
    """Radius to the strap's mid-line at shaft angle ``angle_rad``, 0 where the strap is fully paid out.

    Each turn lays one more thickness on the drum, on either side of 0; a cone adds its taper.
    """
    wound_rad = np.abs(np.asarray(angle_rad, float))
    return drum_radius_m + _growth_m_per_rad(strap_thickness_m, drum_taper_m_per_rad) * wound_rad


def strap_travel_m(
    angle_rad: ArrayLike,
    drum_radius_m: float,
    strap_thickness_m: float = 0.0,
    drum_taper_m_per_rad: float = 0.0,
) -> Numbers:
    """Strap wound on the drum at shaft angle ``angle_rad``: the integral of the radius over the angle."""
    wound_rad = np.abs(np.asarray(angle_rad, float))
    growth = _growth_m_per_rad(strap_thickness_m, drum_taper_m_per_rad)
    return drum_radius_m * wound_rad + 0.5 * growth * wound_rad**2


def wound_angle_rad(
    travel_m: ArrayLike,
    drum_radius_m: float,
    strap_thickness_m: float = 0.0,
    drum_taper_m_per_rad: float = 0.0,
) -> Numbers:
    """The angle, 0 or more, at which ``travel_m`` of strap is wound on: ``strap_travel_m`` backwards.

    NaN where a narrowing cone (negative taper) never takes up that much.
    """
    travel = np.asarray(travel_m, float)
    growth = _growth_m_per_rad(strap_thickness_m, drum_taper_m_per_rad)
    with np.errstate(invalid="ignore"):
        end_radius = np.sqrt(drum_radius_m**2 + 2.0 * growth * travel)
    # This form of the root stays exact where the growth goes to 0.
    return 2.0 * travel / (drum_radius_m + end_radius)


def friction_torque_nm(
    speed_rad_s: ArrayLike,
    friction_torque_nm: float = 0.0,
    friction_viscous_nm_s: float = 0.0,
    friction_drag_nm_s2: float = 0.0,
) -> Numbers:
    """Size of the friction torque at a speed of either sense; it acts against the turning."""
    speed = np.abs(np.asarray(speed_rad_s, float))
    return friction_torque_nm + friction_viscous_nm_s * speed + friction_drag_nm_s2 * speed**2


def kinetic_energy_j(inertia_kg_m2: float, speed_rad_s: ArrayLike) -> Numbers:
    """Energy of the turning wheel: I·ω²/2."""
    return 0.5 * inertia_kg_m2 * np.asarray(speed_rad_s, float) ** 2


def speed_after_work_rad_s(inertia_kg_m2: float, work_j: float, start_speed_rad_s: float = 0.0) -> float:
    """Speed once ``work_j`` has gone into the wheel (a pull over a length of cord, a torque over an angle).

    Raises ``ValueError`` where the wheel does not hold the energy that is taken out.
    """
    squared = start_speed_rad_s**2 + 2.0 * work_j / inertia_kg_m2
    if squared < 0:
        raise ValueError(f"{-work_j:g} J cannot be taken out: the wheel stops before")
    return math.sqrt(squared)


def spin_down_torque_nm(
    inertia_kg_m2: float, start_rad_s: float, end_rad_s: float, duration_s: float
) -> float:
    """Mean torque on a wheel that goes from one speed to another; negative where it slows down."""
    return inertia_kg_m2 * (end_rad_s - start_rad_s) / duration_s


def _growth_m_per_rad(strap_thickness_m: float, drum_taper_m_per_rad: float) -> float:
    return strap_thickness_m / (2.0 * math.pi) + drum_taper_m_per_rad
