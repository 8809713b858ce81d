"""Sets of other athletes on other rigs: what no engine was made on shows what it takes for granted.

Drawn per set: inertia (0.01 to 0.25 kg·m², evenly in its logarithm), drum (10 to 30 mm), cord or strap, the length
pulled (0.45 to 1.1 m), friction, the athlete's greatest force and speed and how one falls with the other, whether
the pull eases off before the strap is out or lasts to the dead point, how fast it builds up (5 to 150 ms, evenly in
its logarithm). Drawn per rep: effort, brake fraction (0.1 to 0.6), brake ramp (30 to 300 ms, and no longer than a
third of the time that a pull takes).
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from brakebeat.errors import InputError
from brakebeat.simulate import Athlete, Spread, Wheel, default_sensed, draw_plan
from brakebeat.simulate.sensing import Sensed
from brakebeat.simulate.sensor import Sensor

# A pull takes so long, seconds (common practice, no source).
_PULL_S = (0.35, 4.0)
_TRIES = 200


def varied(rng: np.random.Generator, seed: int, sensor: Sensor, reps: int) -> Sensed:
    """One set of an athlete and a rig drawn from ``rng``; what cannot be pulled is drawn again.

    Raises:
        InputError: nothing that was drawn could be pulled.
    """
    for _ in range(_TRIES):
        wheel, athlete, range_rad = _drawn_rig(rng)
        pull_s = _pull_s(wheel, athlete, range_rad)
        if not _PULL_S[0] < pull_s < _PULL_S[1]:
            continue
        try:
            return _drawn_set(rng, seed, sensor, reps, wheel, athlete, range_rad, pull_s)
        except InputError:
            continue  # too weak for this wheel
    raise InputError(f"seed {seed}: no athlete drawn in {_TRIES} tries could turn the wheel drawn with him")


def _log_uniform(rng: np.random.Generator, low: float, high: float, size: int | None = None) -> np.ndarray:
    return np.exp(rng.uniform(math.log(low), math.log(high), size))


def _drawn_rig(rng: np.random.Generator) -> tuple[Wheel, Athlete, float]:
    radius_m = rng.uniform(0.010, 0.030)
    wheel = Wheel(
        inertia_kg_m2=float(_log_uniform(rng, 0.01, 0.25)),
        drum_radius_m=float(radius_m),
        strap_thickness_m=float(rng.choice([0.0, 0.0015])),
        friction_torque_nm=float(rng.uniform(0.02, 0.2)),
        friction_viscous_nm_s=float(rng.uniform(0.0, 0.001)),
        friction_drag_nm_s2=float(rng.choice([0.0, 5e-6])),
    )
    athlete = Athlete(
        force_n=float(rng.uniform(250.0, 1200.0)),
        speed_m_s=float(rng.uniform(2.0, 3.5)),
        curvature=float(rng.choice([0.0, rng.uniform(0.5, 2.5)])),
        ease_off=float(rng.choice([0.0, rng.uniform(0.05, 0.3)])),
        tremor=float(rng.uniform(0.0, 0.02)),
    )
    return wheel, athlete, float(rng.uniform(0.45, 1.1) / radius_m)


def _pull_s(wheel: Wheel, athlete: Athlete, range_rad: float) -> float:
    """About how long a pull takes, seconds: evenly at two thirds of the athlete's force, or at half his speed."""
    steady_nm = athlete.force_n * 0.66 * wheel.drum_radius_m - wheel.friction_nm(0.0)
    if steady_nm <= 0.0:
        return math.inf
    even_s = math.sqrt(2.0 * range_rad * wheel.inertia_kg_m2 / steady_nm)
    return max(even_s, range_rad * wheel.drum_radius_m / (0.5 * athlete.speed_m_s))


def _drawn_set(
    rng: np.random.Generator,
    seed: int,
    sensor: Sensor,
    reps: int,
    wheel: Wheel,
    athlete: Athlete,
    range_rad: float,
    pull_s: float,
) -> Sensed:
    plan = draw_plan(
        seed,
        reps=reps,
        efforts=[0.6, 0.8, *rng.uniform(0.7, 1.05, reps - 2).tolist()],
        brake_fractions=rng.uniform(0.1, 0.6, reps).tolist(),
        ramps_s=np.minimum(_log_uniform(rng, 0.03, 0.3, reps), pull_s / 3.0).tolist(),
        stop_rad=range_rad,
        rise_s=float(_log_uniform(rng, 0.005, 0.15)),
        yield_fraction=float(rng.uniform(0.0, 0.04)),
        spread=dataclasses.replace(Spread(), effort=0.0, brake_fraction_abs=0.0, brake_ramp=0.0),
    )
    return default_sensed(seed, wheel=wheel, athlete=athlete, plan=plan, sensor=sensor)
