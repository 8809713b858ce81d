"""The default scenario: an invented lifter on the invented "barn wheel", no two reps alike."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from brakebeat.formats.recording import Recording
from brakebeat.simulate.athlete import Athlete
from brakebeat.simulate.plan import RepPlan, SessionPlan, SetPlan
from brakebeat.simulate.ranges import inside
from brakebeat.simulate.sensing import Sensed, sense_fully
from brakebeat.simulate.sensor import Sensor, preset
from brakebeat.simulate.session import simulate
from brakebeat.simulate.truth import Settings
from brakebeat.simulate.wheel import Wheel

# Momentum reps settle range and rhythm at less than full effort.
_MOMENTUM_EFFORT = (0.5, 0.7)


@dataclass(frozen=True)
class Spread:
    """Standard deviations with which a plan's values are drawn, relative unless a unit says otherwise."""

    effort: float = 0.03
    stop: float = 0.025
    brake_fraction_abs: float = 0.02
    brake_ramp: float = 0.15
    pause: float = 0.15


NO_SPREAD = Spread(0.0, 0.0, 0.0, 0.0, 0.0)


def draw_plan(
    seed: int,
    *,
    reps: int = 8,
    sets: int = 1,
    rest_s: float = 20.0,
    idle_s: float = 2.0,
    efforts: Sequence[float] | None = None,
    brake_fractions: Sequence[float] = (0.25,),
    late: Collection[int] = (),
    late_fraction: float = 0.5,
    ramps_s: Sequence[float] = (0.12,),
    pauses_s: Sequence[float] = (0.0,),
    stop_rad: float = 38.0,
    stop_shares: Sequence[float] = (1.0,),
    momentum_reps: int = 2,
    first_sense: Literal[1, -1] | None = None,
    spread: Spread | None = None,
    **rep_changes: Any,
) -> SessionPlan:
    """Draw an exact plan around the wanted values.

    Args:
        efforts, brake_fractions, ramps_s, pauses_s, stop_shares: given by rep of a set; a shorter list goes
            on with its last value. Without ``efforts``: momentum reps at half effort and then some, the rest
            at 0.95.
        late: reps (counted over all sets, from 0) that brake at ``late_fraction`` instead.
        first_sense: None draws it.
        rep_changes: further fields of RepPlan, the same for every rep.

    Raises:
        InputError: a value outside its range; the message names it.
    """
    inside("reps", reps, 1, 10_000)
    inside("sets", sets, 1, 1000)
    inside("rest_s", rest_s, 0.0, 1e6)
    for name, values, low, high in (
        ("effort", efforts or (), 0.05, 1.4),
        ("brake_fraction", [*brake_fractions, late_fraction], 0.0, 0.9),
        ("brake_ramp_s", ramps_s, 0.01, 0.9),
        ("pause_s", pauses_s, 0.0, 1e5),
        ("stop_rad", [stop_rad * share for share in stop_shares], 2.5, 9e3),
    ):
        for value in values:
            inside(name, value, low, high)
    for number in late:
        inside("late", number, 0, reps * sets - 1)
    rng = np.random.default_rng([seed, 0])
    spread = spread or Spread()
    drawn_sense: Literal[1, -1] = 1 if rng.random() < 0.5 else -1
    if efforts is None:
        efforts = [*_MOMENTUM_EFFORT[:momentum_reps], 0.95]

    def one(number: int, place: int) -> RepPlan:
        onset = late_fraction if number in late else _at(brake_fractions, place)
        return RepPlan(
            effort=_vary(rng, _at(efforts, place), spread.effort, 0.05, 1.4),
            stop_rad=_vary(rng, stop_rad * _at(stop_shares, place), spread.stop, 2.5, 9e3),
            brake_fraction=float(np.clip(onset + rng.normal(0.0, spread.brake_fraction_abs), 0.0, 0.9)),
            brake_ramp_s=_vary(rng, _at(ramps_s, place), spread.brake_ramp, 0.01, 0.9),
            pause_s=_vary(rng, _at(pauses_s, place), spread.pause, 0.0, 1e5),
            **rep_changes,
        )

    return SessionPlan(
        sets=tuple(
            SetPlan(
                reps=tuple(one(number * reps + place, place) for place in range(reps)),
                idle_s=rest_s if number else idle_s,
            )
            for number in range(sets)
        ),
        start_rad=stop_rad,
        first_sense=first_sense or drawn_sense,
    )


def default_recording(
    seed: int,
    *,
    wheel: Wheel | None = None,
    athlete: Athlete | None = None,
    plan: SessionPlan | None = None,
    sensor: Sensor | None = None,
    settings: Settings | None = None,
    **plan_changes: Any,
) -> tuple[Recording, dict[str, Any]]:
    """A recording of the default scenario (6 magnets, clean) and its truth document.

    Args:
        plan_changes: passed on to ``draw_plan``.
    """
    sensed = default_sensed(
        seed, wheel=wheel, athlete=athlete, plan=plan, sensor=sensor, settings=settings, **plan_changes
    )
    return sensed.recording, sensed.truth


def default_sensed(
    seed: int,
    *,
    wheel: Wheel | None = None,
    athlete: Athlete | None = None,
    plan: SessionPlan | None = None,
    sensor: Sensor | None = None,
    settings: Settings | None = None,
    **plan_changes: Any,
) -> Sensed:
    """As ``default_recording``, with the motion and the true edges as well."""
    settings = settings or Settings()
    if plan is None:
        plan = draw_plan(seed, **({"momentum_reps": settings.momentum_reps} | plan_changes))
    motion = simulate(wheel or Wheel(), athlete or Athlete(), plan, seed)
    return sense_fully(motion, sensor or preset("clean"), seed, settings)


def _at(values: Sequence[float], place: int) -> float:
    return values[min(place, len(values) - 1)]


def _vary(rng: np.random.Generator, value: float, relative: float, low: float, high: float) -> float:
    drawn = value * (1.0 + relative * float(np.clip(rng.normal(), -2.5, 2.5)))
    return float(np.clip(drawn, low, high)) if value else 0.0
