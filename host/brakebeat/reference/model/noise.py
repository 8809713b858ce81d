"""The scales of the model: how rough the motion is and how good the edges are."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from brakebeat.reference.model.spline import Array


@dataclass(frozen=True)
class Noise:
    """Jerk density rad²/s⁵; standard deviations of a time stamp, s, and of an edge's angle, rad."""

    jerk_density: float = math.exp(9.5)
    time_s: float = 3e-5
    angle_rad: float = 2e-3

    def sigma(self, speed_rad_s: Array) -> Array:
        """Standard deviation of an edge's angle at a speed: (speed·time)² + angle²."""
        spread: Array = np.sqrt((self.time_s * speed_rad_s) ** 2 + self.angle_rad**2)
        return spread
