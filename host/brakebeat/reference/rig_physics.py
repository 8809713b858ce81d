"""What the rig turns motion into: friction, the athlete's torque, drum radius; unknown where the rig is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brakebeat.formats.rig import Rig
from brakebeat.mechanics import drum_radius_at_m, friction_torque_nm
from brakebeat.reference.model.spline import Array


@dataclass(frozen=True)
class Physics:
    """The rig's mechanics, elementwise on arrays."""

    rig: Rig

    @property
    def inertia_kg_m2(self) -> float | None:
        """Moment of inertia, None if unknown."""
        return self.rig.inertia_kg_m2

    @property
    def has_friction(self) -> bool:
        """Whether the rig states any friction."""
        rig = self.rig
        return any((rig.friction_torque_nm, rig.friction_viscous_nm_s, rig.friction_drag_nm_s2))

    def friction_nm(self, speed_rad_s: Array) -> Array:
        """Friction torque at speeds along the turning."""
        rig = self.rig
        return friction_torque_nm(
            speed_rad_s, rig.friction_torque_nm, rig.friction_viscous_nm_s, rig.friction_drag_nm_s2
        )

    def radius_m(self, angle_rad: Array) -> Array | None:
        """Drum radius at angles φ, None if the rig does not tell."""
        rig = self.rig
        if rig.drum_radius_m is None:
            return None
        return drum_radius_at_m(
            np.abs(angle_rad), rig.drum_radius_m, rig.strap_thickness_m, rig.drum_taper_m_per_rad
        )
