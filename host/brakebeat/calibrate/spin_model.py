"""The model behind the fit of a free run: the coasting law, an unbalanced wheel's swing, each magnet's offset."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from brakebeat.calibrate.coasting import Coasting
from brakebeat.errors import InputError

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

# Its formula is good to first order: only edges with less sway than this are used.
SWAY_MOST_RAD = 0.01


class SpinModel:
    """Parameters, which edges count, how each is weighed, and what the law says of them; offsets are linear."""

    def __init__(
        self, t_s: Array, place: Integers, magnets: int, terms: tuple[int, ...], swings: bool = False
    ) -> None:
        self.t_s, self.place, self.magnets, self.terms = t_s, place, magnets, terms
        self.t = t_s - t_s[0]
        self.even = 2.0 * np.pi / magnets * place
        self.magnet = place % magnets
        self.seen = np.bincount(self.magnet, minlength=magnets)
        self.used = self.seen[self.magnet] >= 2
        self.swings = swings
        self.params = np.append(self._first_guess(), [0.0, 0.0] if swings else [])
        self.sigma = np.full(len(t_s), 1e-3)
        self.noise = (0.0, 1e-3)

    def _first_guess(self) -> Array:
        """First speed and terms from a parabola; the deceleration goes to the lowest term."""
        curve = np.polyfit(self.t, self.even, 2)
        if not -2.0 * curve[0] > 1e-6 * curve[1]:
            raise InputError("the wheel does not slow down: let it run free until it stands still")
        first = max(float(curve[1]), 1e-3)
        slowing = -2.0 * float(curve[0])
        lowest = self.terms[0]
        speed = np.polyval(np.polyder(curve), 0.5 * self.t[-1])
        return np.array([first, slowing / max(float(speed), 1e-3) ** lowest] + [0.0] * (len(self.terms) - 1))

    def coasting(self, params: Array) -> Coasting:
        """The law that parameters (first speed, friction terms, the swing's two) stand for."""
        friction = [0.0, 0.0, 0.0]
        for term, value in zip(self.terms, params[1 : 1 + len(self.terms)].tolist(), strict=True):
            friction[term] = value
        return Coasting(float(params[0]), (friction[0], friction[1], friction[2]))

    def steady(self, speed: Array) -> NDArray[np.bool_]:
        """Edges at which the sway is small enough for its formula."""
        if not self.swings:
            return np.ones(len(speed), bool)
        return np.asarray(np.hypot(*self.params[-2:]) < SWAY_MOST_RAD * speed**2)

    def often(self, residual: Array, reach: float) -> NDArray[np.bool_]:
        """Edges of magnets of which two or more lie within ``reach`` standard deviations."""
        near = np.abs(residual) < reach * self.sigma
        return np.asarray(np.bincount(self.magnet[near], minlength=self.magnets)[self.magnet] >= 2)

    def residual(self, params: Array) -> tuple[Array, Array]:
        """What even magnets and their mean offsets leave over, and the speed, (n,) each."""
        excess, speed = self.excess(params)
        return self.without_offsets(excess), speed

    def excess(self, params: Array) -> tuple[Array, Array]:
        """The law's angle beyond even magnets, and the law's speed, (n,) each.

        A wheel out of balance gains and loses speed once a turn: under A·cos θ its angle sways by −A·cos θ/ω².
        """
        angle, speed = self.coasting(params).angle_and_speed(self.t)
        if self.swings:
            sway = params[-2] * np.cos(self.even) + params[-1] * np.sin(self.even)
            angle = angle + sway / np.maximum(speed, 1e-3 * params[0]) ** 2
        return angle - self.even, speed

    def without_offsets(self, values: Array) -> Array:
        """(n,) values less their mean by magnet."""
        weight = self.used / self.sigma**2
        total = np.bincount(self.magnet, weight, self.magnets)
        mean = np.bincount(self.magnet, weight * values, self.magnets) / np.maximum(total, 1e-300)
        return values - mean[self.magnet]

    def means(self, values: Array) -> Array:
        """Means of (n,) values by magnet, (magnets,), over the edges that count."""
        weight = self.used / self.sigma**2
        total = np.bincount(self.magnet, weight, self.magnets)
        return np.asarray(np.bincount(self.magnet, weight * values, self.magnets) / np.maximum(total, 1e-300))

    def plain_columns(self) -> list[Array]:
        """Derivatives of the excess by each parameter, (n,) each."""
        base, speed = self.excess(self.params)
        typical = float(np.median(speed))
        usual = float(self.coasting(self.params).slowing_rad_s2(typical))
        steps = [1e-5 * self.params[0], *(1e-4 * usual / typical**power for power in self.terms)]
        columns = []
        for position, step in enumerate([*steps, *([1e-3, 1e-3] if self.swings else [])]):
            shifted = self.params.copy()
            shifted[position] += step
            moved, _ = self.excess(shifted)
            columns.append((moved - base) / step)
        return columns
