"""A step that grows from 0 to 1 along half a cosine, and its integrals over time: what a torque that changes does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brakebeat.reference.model.spline import Array


@dataclass(frozen=True)
class CosineStep:
    """Integrals, from −∞ to ``x`` after its beginning, of a step of some length (arrays that broadcast).

    ``speed`` and ``way`` are the first and second integral of the step, ``late_speed`` and ``late_way`` those of the
    step times x.
    """

    speed: Array
    way: Array
    late_speed: Array
    late_way: Array

    @classmethod
    def after(cls, x_s: Array, length_s: Array) -> CosineStep:
        """The integrals ``x_s`` after the step began, s."""
        part = np.clip(x_s / length_s, 0.0, 1.0)
        over = np.maximum(x_s - length_s, 0.0)
        turned = np.pi * part
        sine, fallen = np.sin(turned), np.cos(turned) - 1.0
        speed = length_s * (0.5 * part - sine / (2.0 * np.pi))
        way = length_s**2 * (0.25 * part * part + fallen / (2.0 * np.pi**2))
        late_speed = length_s**2 * (0.25 * part * part - 0.5 * (part * sine / np.pi + fallen / np.pi**2))
        late_way = part * part * part / 12.0 + 0.5 * part * (fallen + 2.0) / np.pi**2 - sine / np.pi**3
        late_way = length_s * length_s * length_s * late_way
        # Once it has come, it stays at 1.
        return cls(
            speed + over,
            way + speed * over + 0.5 * over * over,
            late_speed + over * (length_s + 0.5 * over),
            late_way + late_speed * over + over * over * (0.5 * length_s + over / 6.0),
        )
