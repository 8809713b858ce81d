"""The invented athlete: how hard the strap is pulled at which speed, and how that fades over a set."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from brakebeat.simulate.ranges import inside


@dataclass(frozen=True)
class Athlete:
    """A force-velocity limit with fatigue and tremor.

    Args:
        force_n: tension at standstill with effort 1.
        speed_m_s: strap speed at which the tension has fallen to nothing.
        curvature: 0 for a straight force-velocity line, above 0 for Hill's hyperbola
            F = force·(1 − x)/(1 + curvature·x) with x = v/speed.
        brake_force_n: tension that the athlete cannot exceed while braking.
        ease_off: the last part of the concentric range over which the pull fades, so that the body
            does not run into the strap's end; 0 pulls up to the dead point.
        fatigue_per_rep: what each rep takes off the force, as a fraction.
        recovery_s: time constant at which rest gives it back.
        tremor: relative amplitude of the unsteadiness of the tension (4 to 9 Hz).
    """

    force_n: float = 900.0
    speed_m_s: float = 2.6
    curvature: float = 0.0
    brake_force_n: float = 4000.0
    ease_off: float = 0.15
    fatigue_per_rep: float = 0.01
    recovery_s: float = 90.0
    tremor: float = 0.01

    def __post_init__(self) -> None:
        inside("force_n", self.force_n, 1.0, 1e5)
        if self.speed_m_s != math.inf:  # a pull that no speed weakens
            inside("speed_m_s", self.speed_m_s, 0.01, 1e3)
        inside("curvature", self.curvature, 0.0, 100.0)
        inside("brake_force_n", self.brake_force_n, 1.0, 1e6)
        inside("ease_off", self.ease_off, 0.0, 0.9)
        inside("fatigue_per_rep", self.fatigue_per_rep, 0.0, 0.5)
        inside("recovery_s", self.recovery_s, 0.1, 1e6)
        inside("tremor", self.tremor, 0.0, 0.5)

    def tension_n(self, strap_speed_m_s: float) -> float:
        """Tension in N at full effort and a strap speed in m/s; never negative, a strap cannot push."""
        x = strap_speed_m_s / self.speed_m_s
        return self.force_n * max(0.0, 1.0 - x) / (1.0 + self.curvature * max(x, 0.0))


class Tremor:
    """A smooth factor around 1: three sines whose pitch and phase come from the seed."""

    def __init__(self, amplitude: float, rng: np.random.Generator) -> None:
        pitch = 2.0 * math.pi * rng.uniform(4.0, 9.0, 3)
        phase = rng.uniform(0.0, 2.0 * math.pi, 3)
        self._waves = [(amplitude / 3.0, float(p), float(q)) for p, q in zip(pitch, phase, strict=True)]
        self._still = amplitude == 0.0

    def __call__(self, t_s: float) -> float:
        if self._still:
            return 1.0
        return 1.0 + sum(a * math.sin(p * t_s + q) for a, p, q in self._waves)
