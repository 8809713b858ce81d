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
            raise InputError(
                f"the wheel still turns after {_LONGEST_STRETCH_S:g} s of one phase: pull harder, brake it, "
                "give it less inertia or more friction"
            )


def _cut_at_event(
    wheel: Wheel, law: TorqueLaw, grid: Array, states: Array, until: str, limit: float
) -> tuple[Piece, bool]:
    """The part of a chunk up to the event, and whether there was one."""
    angle, speed = states[:, 0], states[:, 1]
    stop = _first(speed[1:] <= 0.0)
    passing = _first(angle[1:] >= limit) if until == "angle" else len(grid)
    last = min(stop, passing)
    if last >= len(grid):
        return _piece(law, grid, angle, speed), until == "time" and bool(grid[-1] >= limit)
    event = _refine(wheel, law, grid[last : last + 2], states[last : last + 2], stop <= passing, limit)
    # An event on the very knot before it replaces that knot: no interval of no length.
    kept = last + 1 if event[0] > grid[last] or last == 0 else last
    columns = (np.append(whole[:kept], one) for whole, one in zip((grid, angle, speed), event, strict=True))
    return _piece(law, *columns), True


def _first(found: NDArray[np.bool_]) -> int:
    """Index of the first True; beyond the end where there is none."""
    return int(np.argmax(found)) if found.any() else len(found) + 1


def _refine(
    wheel: Wheel, law: TorqueLaw, t_s: Array, states: Array, stops: bool, limit: float
) -> tuple[float, float, float]:
    """Time, angle and speed at which the wheel comes to rest (or passes ``limit``) between two knots."""
    accel = [
        (law(t, angle, speed) - wheel.friction_nm(speed)) / wheel.inertia_kg_m2
        for t, (angle, speed) in zip(t_s.tolist(), states.tolist(), strict=True)
    ]
    speed_of = CubicHermiteSpline(t_s, states[:, 1], accel)
    # The angle as the speed's integral: one order better than a spline through angle and speed.
    gained_of = speed_of.antiderivative()
    begin = float(states[0, 0])
    if stops:
        at = _root(speed_of, t_s)
        return at, begin + float(gained_of(at)), 0.0
    at = _root(lambda t: begin + float(gained_of(t)) - limit, t_s)
    return at, limit, float(speed_of(at))


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
