"""What is known of a falling mass before its edges are looked at, with uncertainties."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

GRAVITY_M_S2 = 9.80665  # the standard value
# At sea level it goes from 9.78 at the equator to 9.83 at the poles.
GRAVITY_SIGMA_M_S2 = 0.015


@dataclass(frozen=True)
class Given:
    """What is known of one fall, with standard uncertainties. SI units.

    ``left_on_drum_m``: strap still wound on as the mass lands. ``friction``: T0, T1, T2 in N·m, N·m·s, N·m·s².
    ``slowing``: friction over inertia instead, (3,), from the wheel's running on; then ``friction`` is ignored.
    """

    mass_kg: float
    drum_radius_m: float
    strap_thickness_m: float = 0.0
    left_on_drum_m: float = 0.0
    friction: tuple[float, float, float] = (0.0, 0.0, 0.0)
    slowing: tuple[float, float, float] | None = None
    gravity_m_s2: float = GRAVITY_M_S2
    mass_sigma_kg: float = 0.0
    drum_radius_sigma_m: float = 0.0
    strap_thickness_sigma_m: float = 0.0
    left_on_drum_sigma_m: float = 0.0
    friction_sigma: tuple[float, float, float] = (0.0, 0.0, 0.0)
    slowing_sigma: tuple[float, float, float] = (0.0, 0.0, 0.0)
    gravity_sigma_m_s2: float = GRAVITY_SIGMA_M_S2

    @property
    def growth_m_per_rad(self) -> float:
        return self.strap_thickness_m / (2.0 * np.pi)


def moved_inputs(given: Given) -> list[tuple[str, Given]]:
    """``given`` moved by one standard uncertainty at a time."""
    moved = []
    for name in ("mass_kg", "drum_radius_m", "strap_thickness_m", "left_on_drum_m", "gravity_m_s2"):
        sigma = getattr(given, _SIGMA[name])
        if sigma:
            moved.append((name, dataclasses.replace(given, **{name: getattr(given, name) + sigma})))
    spread = given.slowing_sigma if given.slowing else given.friction_sigma
    for term, sigma in enumerate(spread):
        if sigma:
            values = list(given.slowing or given.friction)
            values[term] += sigma
            more = (values[0], values[1], values[2])
            step = (
                dataclasses.replace(given, slowing=more)
                if given.slowing
                else dataclasses.replace(given, friction=more)
            )
            moved.append(("friction", step))
    return moved


_SIGMA = {
    "mass_kg": "mass_sigma_kg",
    "drum_radius_m": "drum_radius_sigma_m",
    "strap_thickness_m": "strap_thickness_sigma_m",
    "left_on_drum_m": "left_on_drum_sigma_m",
    "gravity_m_s2": "gravity_sigma_m_s2",
}
