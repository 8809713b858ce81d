"""Simulated athletes at several inertias, and their true inertia of greatest power.

The figures are the truth's, so that they are quick to get.
"""

from __future__ import annotations

import dataclasses
import math
from datetime import UTC, datetime, timedelta

import numpy as np
from scipy.interpolate import CubicSpline

from brakebeat.results import Rep
from brakebeat.simulate import NO_SPREAD, Athlete, Settings, Wheel, draw_plan, simulate
from brakebeat.simulate.truth import true_reps
from brakebeat.training.points import SetPoint

INERTIAS = (0.03, 0.06, 0.12, 0.24, 0.4)


def athlete(seed: int) -> Athlete:
    """Somebody new for each seed."""
    rng = np.random.default_rng([seed, 77])
    return Athlete(
        force_n=rng.uniform(750, 1300),
        speed_m_s=rng.uniform(2.0, 2.8),
        curvature=rng.uniform(0, 2),
        fatigue_per_rep=rng.uniform(0, 0.02),
    )


def at_rest_and_steady(who: Athlete) -> Athlete:
    """The same athlete without fatigue and tremor: what "true" means."""
    return dataclasses.replace(who, fatigue_per_rep=0.0, tremor=0.0)


def working_reps(who: Athlete, inertia_kg_m2: float, seed: int = 0, reps: int = 6) -> list[Rep]:
    """The reps of one set, momentum reps left out."""
    plan = draw_plan(seed, reps=reps, idle_s=0.1, first_sense=1)
    motion = simulate(Wheel(inertia_kg_m2=inertia_kg_m2), who, plan, seed)
    return [
        true.rep for true in true_reps(motion, Settings(), lambda t_s: t_s * 1e6)[0] if not true.rep.momentum
    ]


def steady_rep(who: Athlete, inertia_kg_m2: float) -> Rep:
    """One rep at full effort of the rested, steady athlete, out of a swing that repeats itself."""
    plan = draw_plan(0, reps=2, momentum_reps=0, efforts=[0.95], spread=NO_SPREAD, idle_s=0.1, first_sense=1)
    motion = simulate(Wheel(inertia_kg_m2=inertia_kg_m2), at_rest_and_steady(who), plan)
    return true_reps(motion, Settings(), lambda t_s: t_s * 1e6)[0][1].rep


def true_optimum_kg_m2(who: Athlete) -> float:
    """The inertia of the rested, steady athlete's greatest concentric mean power."""
    x = np.linspace(math.log(0.015), math.log(0.5), 9)
    power = CubicSpline(x, [steady_rep(who, math.exp(each)).concentric.mean_power_w for each in x])
    fine = np.linspace(x[0], x[-1], 4001)
    return math.exp(fine[power(fine).argmax()])


def set_point(reps: list[Rep], inertia_kg_m2: float, number: int) -> SetPoint:
    """The point of a set; its peak speeds stand in for those at φ = 0."""
    seconds = [rep.concentric.duration_s or 0.0 for rep in reps]
    powers = [rep.concentric.mean_power_w or 0.0 for rep in reps]
    return SetPoint(
        where=f"1.{number + 1}",
        started=datetime(2026, 11, 2, 18, tzinfo=UTC) + timedelta(minutes=4 * number),
        session_id=1,
        inertia_kg_m2=inertia_kg_m2,
        reps=len(reps),
        mean_acceleration_rad_s2=float(
            np.mean([rep.peak_rad_s / took_s for rep, took_s in zip(reps, seconds, strict=True)])
        ),
        peak_velocity_rad_s=float(np.mean([rep.peak_rad_s for rep in reps])),
        mean_power_w=float(np.mean(powers)),
        late_share=0.0,
        peak_stands_in=True,
    )
