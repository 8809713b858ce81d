"""Integrates shaft angle and speed under a torque law, up to an event.

Everything here runs in coordinates along the turning: ``angle`` grows, ``speed`` is positive, φ = 0 is
angle 0.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import odeint
from scipy.interpolate import CubicHermiteSpline
from scipy.optimize import brentq

from brakebeat.errors import InputError
from brakebeat.simulate.wheel import Wheel

Array = NDArray[np.float64]
# Driving torque in N·m (braking is negative) as a function of time, angle, speed.
TorqueLaw = Callable[[float, float, float], float]

KNOT_S = 0.001
# LSODA holds its local error to this; the global one stays below 1e-6 rad over a rep (tests/simulate).
_TOLERANCE = 1e-9
# Short features (slap, slack, ramp ends) must not be stepped over.
_LONGEST_STEP_S = 0.01
_LONGEST_STRETCH_S = 2000.0


@dataclass(frozen=True)
class Piece:
    """A stretch of motion: knots every millisecond or so, ends exactly on its event. Arrays of shape (n,)."""

    t_s: Array
    angle_rad: Array
    speed_rad_s: Array
    torque_nm: Array

    def until(self, count: int) -> Piece:
        """The first ``count`` knots."""
        return Piece(
            self.t_s[:count], self.angle_rad[:count], self.speed_rad_s[:count], self.torque_nm[:count]
        )


def join(pieces: list[Piece]) -> Piece:
    """Pieces that follow one another as one; knots at the seams appear once."""
    pieces = [piece for piece in pieces if len(piece.t_s) > 1]
    cut = [slice(0, None)] + [slice(1, None)] * (len(pieces) - 1)
    columns = ("t_s", "angle_rad", "speed_rad_s", "torque_nm")
    return Piece(
        *(np.concatenate([getattr(p, c)[s] for p, s in zip(pieces, cut, strict=True)]) for c in columns)
    )


def integrate(
    wheel: Wheel,
    law: TorqueLaw,
    start: tuple[float, float, float],
    *,
    until: Literal["time", "angle", "rest"],
    limit: float = 0.0,
    knot_s: float = KNOT_S,
    chunk_s: float = 0.5,
) -> Piece:
    """Integrate I·α = law − friction from ``start`` = (t_s, angle_rad, speed_rad_s).

    Args:
        until: "time" stops at t = ``limit`` s, "angle" at angle = ``limit`` rad, "rest" at speed 0; in the
            first two cases the wheel coming to rest ends the piece as well.
        chunk_s: stretch of time integrated at once (a guess at the duration saves time).

    Raises:
        InputError: the wheel neither gets there nor comes to rest.

    odeint is used rather than solve_ivp because its stepping is compiled: a rep costs 5 ms instead of 50.
    """
    inertia = wheel.inertia_kg_m2
    rest, viscous, drag = wheel.friction_torque_nm, wheel.friction_viscous_nm_s, wheel.friction_drag_nm_s2

    def slope(t: float, state: Array) -> tuple[float, float]:
        angle, speed = state.tolist()
        friction = rest + viscous * speed + drag * speed * abs(speed)
        return speed, (law(t, angle, speed) - friction) / inertia

    pieces: list[Piece] = []
    t, angle, speed = start
    while True:
        span = min(chunk_s, limit - t) if until == "time" else chunk_s
        grid = np.linspace(t, t + span, max(2, round(span / knot_s) + 1))
        states = odeint(
            slope, (angle, speed), grid, tfirst=True, rtol=_TOLERANCE, atol=_TOLERANCE, hmax=_LONGEST_STEP_S
        )
        piece, done = _cut_at_event(wheel, law, grid, states, until, limit)
        pieces.append(piece)
        if done:
            return join(pieces)
        t, angle, speed = float(grid[-1]), float(states[-1, 0]), float(states[-1, 1])
        if t - start[0] > _LONGEST_STRETCH_S:
            raise InputError("the wheel never comes to rest: give it some friction, or brake it")


def _cut_at_event(
    wheel: Wheel, law: TorqueLaw, grid: Array, states: Array, until: str, limit: float
) -> tuple[Piece, bool]:
    """The part of a chunk up to the event, and whether there was one."""
    angle, speed = states[:, 0], states[:, 1]
    stopped = np.flatnonzero(speed[1:] <= 0.0)
    first_stop = int(stopped[0]) if len(stopped) else len(grid)
    passed = np.flatnonzero(angle[1:] >= limit) if until == "angle" else ()
    first_pass = int(passed[0]) if len(passed) else len(grid)
    last = min(first_stop, first_pass)
    if last >= len(grid):
        return _piece(law, grid, angle, speed), until == "time" and bool(grid[-1] >= limit)
    accel = [
        (law(*row) - wheel.friction_nm(row[2])) / wheel.inertia_kg_m2
        for row in zip(
            grid[last : last + 2].tolist(), angle[last:].tolist(), speed[last:].tolist(), strict=False
        )
    ]
    seam = slice(last, last + 2)
    speed_of = CubicHermiteSpline(grid[seam], speed[seam], accel)
    # A speed that the spline integrates: one order better than a spline through angle and speed.
    angle_of = speed_of.antiderivative()
    if first_stop <= first_pass:
        event = _root(speed_of, grid[seam])
    else:
        event = _root(lambda t: angle[last] + float(angle_of(t)) - limit, grid[seam])
    grid = np.append(grid[: last + 1], event)
    angle = np.append(
        angle[: last + 1], limit if last != first_stop else angle[last] + float(angle_of(event))
    )
    speed = np.append(speed[: last + 1], 0.0 if last == first_stop else float(speed_of(event)))
    if grid[-1] <= grid[-2]:  # the event fell on a knot
        grid, angle, speed = (np.append(x[:-2], x[-1]) for x in (grid, angle, speed))
    return _piece(law, grid, angle, speed), True


def _root(function: Callable[[float], float], bracket: Array) -> float:
    low, high = float(bracket[0]), float(bracket[1])
    if float(function(low)) == 0.0:
        return low
    if float(function(low)) * float(function(high)) > 0.0:
        return high
    return float(brentq(function, low, high, xtol=1e-13))


def _piece(law: TorqueLaw, t_s: Array, angle: Array, speed: Array) -> Piece:
    torque = [law(*row) for row in zip(t_s.tolist(), angle.tolist(), speed.tolist(), strict=True)]
    return Piece(t_s, angle, speed, np.asarray(torque))
