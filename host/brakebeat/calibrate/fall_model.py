"""Angles of a wheel that a falling mass speeds up, for an inertia and a speed at the landing.

The mass m pulls the strap with F = m·(g − r·α + k·ω²), where r is the drum radius at the strap's mid-line and k
what it loses a radian; the wheel answers I·α = r·F − T. So α = (m·r·(g + k·ω²) − T)/(I + m·r²), which is
integrated and held against the edges; nothing is differentiated.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline

from brakebeat.calibrate.coasting import Coasting
from brakebeat.calibrate.fall_edges import Fall
from brakebeat.calibrate.fall_given import Given
from brakebeat.errors import InputError
from brakebeat.mechanics import wound_angle_rad

Array = NDArray[np.float64]

_STEPS = 100
_CUT = 6.0


class FallModel:
    """Angles of the edges of a fall for an inertia and a speed at the landing, walked back from there."""

    def __init__(self, fall: Fall, given: Given) -> None:
        self.fall, self.given = fall, given
        self.even: Array = np.asarray(2.0 * np.pi / fall.magnets * fall.place, float)
        turns = (fall.place[-1] - fall.place[0]) / fall.magnets
        # Under two turns each magnet passes too seldom to tell its place from the motion.
        self.group = fall.place % fall.magnets if turns >= 2.0 else np.zeros(len(fall.place), int)
        self.offsets = len(np.unique(self.group))
        self.end_rad = float(
            wound_angle_rad(given.left_on_drum_m, given.drum_radius_m, given.strap_thickness_m)
        )
        # The edges near rest are the ones that may be counted wrong, and they would pull hardest: they have to
        # fit what the others say.
        self.weight = (fall.place > 0.8 * fall.place[0] + 0.2 * fall.place[-1]).astype(float)
        self.back_s = np.linspace(0.0, fall.landing_s - fall.t_s[0], _STEPS + 1)

    def first_speed(self) -> float:
        curve = np.polyfit(self.fall.t_s - self.fall.landing_s, self.even, 2)
        return float(curve[1])

    def first_inertia(self) -> float:
        given, curve = self.given, np.polyfit(self.fall.t_s - self.fall.landing_s, self.even, 2)
        accel = max(2.0 * float(curve[0]), 1e-3)
        turned = float(self.even[-1] - self.even[0])
        radius = given.drum_radius_m + given.growth_m_per_rad * (self.end_rad + 0.5 * turned)
        free = given.mass_kg * radius * given.gravity_m_s2 - given.friction[0]
        inertia = free / accel - given.mass_kg * radius**2
        if inertia <= 0.0:
            raise InputError(
                "the wheel speeds up faster than this mass can make it: check the mass, the drum radius and "
                "that only the mass pulled"
            )
        return inertia

    def columns(self, params: Array) -> tuple[Array, Array]:
        """Derivatives (n, 2) by inertia and speed, and residuals (n,), rad, offsets taken out of both."""
        steps = np.array([1e-4 * params[0], 1e-4 * max(params[1], 1.0)])
        inertia = np.array([params[0], params[0] + steps[0], params[0]])
        speed = np.array([params[1], params[1], params[1] + steps[1]])
        angle = self._angles(inertia, speed)
        residual = self._centred(angle[0] - self.even)
        columns = [self._centred((angle[which] - angle[0]) / steps[which - 1]) for which in (1, 2)]
        return np.stack(columns, axis=1), residual

    def weigh(self, residual: Array) -> None:
        """Leave out edges that are far from where all others say they should be."""
        usual = 1.4826 * float(np.median(np.abs(residual[self.weight > 0.0]))) + 1e-9
        near = np.abs(residual) < _CUT * usual
        if near.sum() > 0.6 * len(near):
            self.weight = near.astype(float)

    def _centred(self, values: Array) -> Array:
        count = np.maximum(np.bincount(self.group, self.weight), 1e-9)
        return values - (np.bincount(self.group, values * self.weight) / count)[self.group]

    def _angles(self, inertia: Array, landing_speed: Array) -> Array:
        """Angles at the edges from the landing back, falling below 0, (variants, n): Runge-Kutta of order four."""
        h = float(self.back_s[1])
        slope = self._slope(inertia)
        wound, speed = np.full(len(inertia), self.end_rad), landing_speed.copy()
        path = [(wound, speed)]
        for _ in range(_STEPS):
            if not np.isfinite(speed).all():
                break
            k1 = slope(wound, speed)
            k2 = slope(wound + 0.5 * h * speed, speed - 0.5 * h * k1)
            speed2 = speed - 0.5 * h * k1
            speed3 = speed - 0.5 * h * k2
            k3 = slope(wound + 0.5 * h * speed2, speed3)
            speed4 = speed - h * k3
            k4 = slope(wound + h * speed3, speed4)
            wound = wound + h / 6.0 * (speed + 2.0 * speed2 + 2.0 * speed3 + speed4)
            speed = speed - h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)
            path.append((wound, speed))
        at = self.fall.landing_s - self.fall.t_s
        wounds = np.stack([wound for wound, _ in path])
        speeds = np.stack([speed for _, speed in path])
        if not (np.isfinite(wounds).all() and np.isfinite(speeds).all()):
            raise InputError(
                "the edges do not fit a wheel that a falling mass speeds up: check the mass, the drum radius and that "
                "only the mass pulled"
            )
        return np.stack(
            [
                -CubicHermiteSpline(self.back_s, wounds[:, which], speeds[:, which])(at)
                for which in range(len(inertia))
            ]
        )

    def _slope(self, inertia: Array) -> Callable[[Array, Array], Array]:
        given, growth = self.given, self.given.growth_m_per_rad
        slowing = Coasting(1.0, given.slowing or (0.0, 0.0, 0.0)).slowing_rad_s2
        friction = Coasting(1.0, given.friction).slowing_rad_s2

        def accel(wound: Array, speed: Array) -> Array:
            radius = given.drum_radius_m + growth * wound
            drive = given.mass_kg * radius * (given.gravity_m_s2 + growth * speed * speed)
            held = inertia * slowing(speed) if given.slowing else friction(speed)
            return np.asarray((drive - held) / (inertia + given.mass_kg * radius * radius))

        return accel
