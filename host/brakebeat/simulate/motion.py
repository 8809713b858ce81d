"""The continuous truth: what the shaft did, stretch by stretch, and smooth interpolants over all of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np
from scipy.interpolate import CubicHermiteSpline

from brakebeat.simulate.dynamics import Array
from brakebeat.simulate.wheel import Wheel

StretchKind = Literal["concentric", "eccentric", "hand", "idle", "run_out"]


@dataclass(frozen=True)
class Stretch:
    """Motion in one sense (or rest). Arrays of shape (n,), first and last knot are the stretch's ends.

    Args:
        torque_nm: the athlete's torque along the turning, N·m: positive drives, negative brakes.
        rep: number of the rep planned here, None between reps.
    """

    kind: StretchKind
    t_s: Array
    angle_rad: Array
    speed_rad_s: Array
    torque_nm: Array
    sense: int
    rep: int | None = None

    @property
    def along_rad(self) -> Array:
        """Angle along the turning: φ times the sense."""
        return self.sense * self.angle_rad


@dataclass(frozen=True)
class Motion:
    """All stretches of a session in order, without gaps."""

    wheel: Wheel
    stretches: list[Stretch] = field(default_factory=list)

    @cached_property
    def _knots(self) -> tuple[Array, Array, Array]:
        t = np.concatenate([s.t_s for s in self.stretches])
        angle = np.concatenate([s.angle_rad for s in self.stretches])
        speed = np.concatenate([s.speed_rad_s for s in self.stretches])
        keep = np.append(True, np.diff(t) > 0.0)
        return t[keep], angle[keep], speed[keep]

    @cached_property
    def _spline(self) -> CubicHermiteSpline:
        # Cubic through angle and speed at knots 1 ms apart: good to 1e-7 rad (tests/simulate).
        return CubicHermiteSpline(*self._knots)

    @property
    def start_s(self) -> float:
        """When the motion begins."""
        return float(self.stretches[0].t_s[0])

    @property
    def end_s(self) -> float:
        """When the motion ends."""
        return float(self.stretches[-1].t_s[-1])

    def angle_rad(self, t_s: Array) -> Array:
        """Shaft angle φ at times in s (signed, 0 with the strap paid out)."""
        return self._spline(t_s)

    def speed_rad_s(self, t_s: Array) -> Array:
        """Signed shaft speed at times in s."""
        return self._spline(t_s, 1)

    def athlete_torque_nm(self, t_s: Array) -> Array:
        """The athlete's torque in φ's direction at times in s, N·m."""
        t_s = np.atleast_1d(np.asarray(t_s, float))
        torque = np.zeros(len(t_s))
        for stretch in self.stretches:
            inside = (t_s >= stretch.t_s[0]) & (t_s < stretch.t_s[-1])
            if inside.any():
                torque[inside] = stretch.sense * np.interp(t_s[inside], stretch.t_s, stretch.torque_nm)
        return torque
