"""Motions that a rig is calibrated with: a mass that falls on the strap, known lengths pulled out slowly."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.integrate import solve_ivp

from brakebeat.mechanics import wound_angle_rad
from brakebeat.simulate.braking import free_run
from brakebeat.simulate.dynamics import KNOT_S, Piece
from brakebeat.simulate.motion import Motion, Stretch, StretchKind
from brakebeat.simulate.ranges import inside
from brakebeat.simulate.wheel import Wheel

_TOLERANCE = 1e-10
_LONGEST_FALL_S = 300.0


def falling_mass(
    wheel: Wheel,
    mass_kg: float,
    wound_m: float,
    *,
    left_m: float = 0.0,
    gravity_m_s2: float = 9.80665,
    idle_s: float = 1.0,
    runs_on: bool = True,
) -> Motion:
    """A mass on the strap falls from rest and turns the wheel until it lands; then the strap comes off.

    Args:
        wound_m: strap on the drum at the start, ``left_m`` as the mass lands.
        runs_on: the wheel then runs out under friction alone; else the motion ends with the landing.

    Raises:
        InputError: a value outside its range, or a mass too light to beat friction.
    """
    inside("mass_kg", mass_kg, 0.01, 1000.0)
    inside("wound_m", wound_m, 0.01, 100.0)
    inside("left_m", left_m, 0.0, 0.9 * wound_m)
    lengths = (wheel.drum_radius_m, wheel.strap_thickness_m, wheel.drum_taper_m_per_rad)
    begin = -float(wound_angle_rad(wound_m, *lengths))
    end = -float(wound_angle_rad(left_m, *lengths))
    drive = mass_kg * gravity_m_s2 * wheel.radius_m(begin)
    inside("friction_torque_nm", wheel.friction_torque_nm, 0.0, 0.9 * drive)
    fall = _fall(wheel, mass_kg, gravity_m_s2, idle_s, begin, end)
    stretches = [_stretch("idle", _rest(0.0, idle_s, begin))] if idle_s > 0.0 else []
    stretches.append(_stretch("hand", fall))
    if runs_on:
        landing = (float(fall.t_s[-1]), float(fall.angle_rad[-1]), float(fall.speed_rad_s[-1]))
        run = free_run(wheel, landing)
        stretches.append(_stretch("run_out", run))
        last = float(run.t_s[-1])
        stretches.append(_stretch("idle", _rest(last, last + 1.0, float(run.angle_rad[-1]))))
    return Motion(wheel, stretches)


def slow_pulls(
    wheel: Wheel,
    lengths_m: Sequence[float],
    *,
    speed_m_s: float = 0.1,
    pause_s: float = 2.0,
    left_m: float = 0.0,
) -> Motion:
    """Known lengths of strap pulled out one after the other with a pause after each, least jerk in each.

    The strap is all the way out after the last one (``left_m`` of it stays on the drum).
    """
    inside("speed_m_s", speed_m_s, 0.001, 10.0)
    inside("pause_s", pause_s, 0.0, 1e4)
    for length in lengths_m:
        inside("lengths_m", length, 0.001, 100.0)
    geometry = (wheel.drum_radius_m, wheel.strap_thickness_m, wheel.drum_taper_m_per_rad)
    still_on = left_m + np.append(np.cumsum(np.asarray(lengths_m, float)[::-1])[::-1], 0.0)
    stops = -wound_angle_rad(still_on, *geometry)
    t_s = 0.0
    stretches: list[Stretch] = []
    for begin, end, length in zip(stops[:-1].tolist(), stops[1:].tolist(), lengths_m, strict=True):
        stretches.append(_stretch("idle", _rest(t_s, t_s + pause_s, begin)))
        lasts_s = 1.875 * length / speed_m_s  # the least-jerk profile peaks at 1.875 times its mean
        x = np.linspace(0.0, 1.0, max(50, round(lasts_s / 0.002)))
        angle = begin + (end - begin) * x**3 * (10.0 + x * (6.0 * x - 15.0))
        speed = (end - begin) * 30.0 * x**2 * (1.0 - x) ** 2 / lasts_s
        t_s += pause_s
        stretches.append(_stretch("hand", Piece(t_s + x * lasts_s, angle, speed, np.zeros(len(x)))))
        t_s += lasts_s
    stretches.append(_stretch("idle", _rest(t_s, t_s + max(pause_s, 0.1), float(stops[-1]))))
    return Motion(wheel, stretches)


def _fall(
    wheel: Wheel, mass_kg: float, gravity_m_s2: float, start_s: float, begin: float, end: float
) -> Piece:
    # The radius shrinks as the strap unwinds, so that the mass falls a little slower than r·α says.
    slope_m = (wheel.radius_m(begin) - wheel.radius_m(0.0)) / abs(begin)

    def slope(_: float, state: np.ndarray) -> list[float]:
        angle, speed = state.tolist()
        radius = wheel.radius_m(angle)
        torque = mass_kg * radius * (gravity_m_s2 + slope_m * speed * speed) - wheel.friction_nm(speed)
        return [speed, torque / (wheel.inertia_kg_m2 + mass_kg * radius * radius)]

    def landed(_: float, state: np.ndarray) -> float:
        return float(state[0]) - end

    landed.terminal = True  # type: ignore[attr-defined]
    done = solve_ivp(
        slope,
        (0.0, _LONGEST_FALL_S),
        [begin, 0.0],
        events=landed,
        rtol=_TOLERANCE,
        atol=_TOLERANCE,
        dense_output=True,
    )
    lasts_s = float(done.t[-1])
    t_s = np.linspace(0.0, lasts_s, max(50, round(lasts_s / KNOT_S)))
    angle, speed = done.sol(t_s)
    speed[0], angle[-1] = 0.0, end
    return Piece(start_s + t_s, angle, speed, np.zeros(len(t_s)))


def _rest(begin_s: float, end_s: float, angle_rad: float) -> Piece:
    return Piece(np.array([begin_s, end_s]), np.full(2, angle_rad), np.zeros(2), np.zeros(2))


def _stretch(kind: StretchKind, piece: Piece) -> Stretch:
    return Stretch(kind, piece.t_s, piece.angle_rad, piece.speed_rad_s, piece.torque_nm, 1)
