"""The rig as physics sees it: inertia, drum, friction, dead point."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from brakebeat.simulate.ranges import inside

# One number or an array of them.
Number = TypeVar("Number", float, NDArray[np.float64])

# Within this angle of phi = 0 the strap pulls (nearly) through the shaft's axis: no lever arm, no torque.
DEAD_RAD = 0.5


def smooth_step(x: float) -> float:
    """0 below 0, 1 above 1, between them the quintic whose first two derivatives vanish at both ends."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    return x * x * x * (10.0 + x * (6.0 * x - 15.0))


@dataclass(frozen=True)
class Wheel:
    """An invented home-built unit, the "barn wheel" by default.

    Args:
        inertia_kg_m2: everything that turns.
        drum_radius_m: strap mid-line radius with the strap all paid out.
        strap_thickness_m: what each turn adds to the radius (0 for a cord on a wide drum).
        drum_taper_m_per_rad: what a cone adds per radian.
        friction_torque_nm, friction_viscous_nm_s, friction_drag_nm_s2: friction
            T = torque + viscous·|ω| + drag·ω².

    Raises:
        InputError: a value that no wheel can have; the message names the field.
    """

    inertia_kg_m2: float = 0.12
    drum_radius_m: float = 0.015
    strap_thickness_m: float = 0.0015
    drum_taper_m_per_rad: float = 0.0
    friction_torque_nm: float = 0.10
    friction_viscous_nm_s: float = 0.001
    friction_drag_nm_s2: float = 0.0

    def __post_init__(self) -> None:
        for name, low, high in (
            ("inertia_kg_m2", 1e-4, 1e3),
            ("drum_radius_m", 1e-3, 1.0),
            ("strap_thickness_m", 0.0, 0.05),
            ("drum_taper_m_per_rad", -0.01, 0.01),
            ("friction_torque_nm", 0.0, 1e2),
            ("friction_viscous_nm_s", 0.0, 10.0),
            ("friction_drag_nm_s2", 0.0, 1.0),
        ):
            inside(name, getattr(self, name), low, high)

    def radius_m(self, angle_rad: Number) -> Number:
        """Drum radius r(φ) to the strap's mid-line, in m."""
        growth = self.strap_thickness_m / (2.0 * math.pi) + self.drum_taper_m_per_rad
        return self.drum_radius_m + growth * abs(angle_rad)

    def lever_m(self, angle_rad: float) -> float:
        """Lever arm of the strap in m: r(φ), fading to 0 at the dead point φ = 0."""
        return self.radius_m(angle_rad) * smooth_step(abs(angle_rad) / DEAD_RAD)

    def friction_nm(self, speed_rad_s: Number) -> Number:
        """Friction torque in N·m for a speed along the turning."""
        drag = self.friction_drag_nm_s2 * speed_rad_s * abs(speed_rad_s)
        return self.friction_torque_nm + self.friction_viscous_nm_s * speed_rad_s + drag

    def header(self) -> dict[str, str]:
        """The wheel as header keys of a recording."""
        return {field.name: repr(float(getattr(self, field.name))) for field in dataclasses.fields(self)}
