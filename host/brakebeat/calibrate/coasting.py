"""A wheel left to itself: shaft angle against time under friction alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline

Array = NDArray[np.float64]

_CELLS = 400
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(4)
# Down to this part of the first speed; slower than that no hand-built bearing follows a law.
_SLOWEST = 0.002


@dataclass(frozen=True)
class Coasting:
    """dω/dt = −(a0 + a1·ω + a2·ω²), from ``speed_rad_s`` at t = 0 on.

    Args:
        terms: (a0, a1, a2) in rad/s², 1/s, 1/rad: the friction terms divided by the inertia.
    """

    speed_rad_s: float
    terms: tuple[float, float, float]

    def slowing_rad_s2(self, speed_rad_s: Array | float) -> Array:
        """Size of the deceleration at a speed."""
        a0, a1, a2 = self.terms
        speed = np.asarray(speed_rad_s, float)
        return a0 + speed * (a1 + speed * a2)

    def angle_and_speed(self, t_s: Array) -> tuple[Array, Array]:
        """Angle since t = 0, rad, and speed, rad/s, at times in s, (n,) each.

        Time and angle are quadratures over the speed, which falls all the way: Δt = Δω/f, Δθ = ω·Δω/f.
        Raises ``ValueError`` where the terms would speed the wheel up.
        """
        grid = self.speed_rad_s * np.linspace(1.0, _SLOWEST, _CELLS + 1)
        half = 0.5 * (grid[:-1] - grid[1:])
        speeds = 0.5 * (grid[:-1] + grid[1:])[:, None] + half[:, None] * _NODES
        slowing = self.slowing_rad_s2(speeds)
        if not (slowing > 0.0).all() or self.speed_rad_s <= 0.0:
            raise ValueError("no friction")
        weight = half[:, None] * _WEIGHTS / slowing
        t = np.concatenate([[0.0], np.cumsum(weight.sum(axis=1))])
        angle = np.concatenate([[0.0], np.cumsum((weight * speeds).sum(axis=1))])
        spline = CubicHermiteSpline(t, angle, grid)
        inside = np.clip(t_s, t[0], t[-1])
        beyond = t_s - inside
        speed = spline(inside, 1)
        return spline(inside) + speed * beyond, speed
