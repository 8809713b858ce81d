"""How long the pull takes to come where the wheel turns straight round, and what that says about when it turned.

The brake's torque goes on through the turnaround and gives way to the pull's. How fast is the athlete's habit: one
turnaround hardly tells it, those of a session together do. Out of a rest the pull comes by the same habit, which no
edge shows there.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brakebeat.reference.curve.between import between
from brakebeat.reference.curve.system import shift_prior
from brakebeat.reference.model.spline import Array
from brakebeat.reference.turnaround.reading import Model, Reading, Verdict
from brakebeat.reference.turnaround.readings import Readings
from brakebeat.reference.turnaround.side import RISE_S
from brakebeat.reference.turnaround.turns import Turning

# The other turnarounds' evidence counts so much of the own one's: no two pulls come quite alike.
_OTHERS = 0.5
# A pull may come in any time from the shortest to the longest of these, looked at in so many steps; in about this one,
# give or take (in its logarithm), beforehand: what places simulated vertices best where few magnets hardly tell.
_TIMES_S = (0.01, 0.017, 0.025, 0.035, 0.047, 0.063, 0.085, 0.115, 0.155)
_FINELY = 41
_COMING_S, _SPREAD = 0.035, 0.5
# How far each sense's edges are shifted is the same at all turnarounds, and is asked for together with it: a joint fit
# through the turnarounds tells it worse than what is known beforehand, unless that is next to nothing. In standard
# deviations of what is known; a turnaround's own shift differs hardly.
_SHIFTS = (-2.0, 0.0, 2.0)
_SHIFT_SD_RAD = 0.001
# Of the time that a pull takes to come half is lost, but for what passes before it beats friction and the wheel moves
# (found on simulated wheels whose pulls came within 12 to 150 ms); no two pulls come quite alike.
_SHARE_OF_LAG, _BEFORE_MOVING_S = 0.5, 0.0045
_LAG_SD_S = 0.0015
# A turnaround with more misfit than this for each edge follows no such course.
_ODD = 3.0


@dataclass(frozen=True)
class Lag:
    """How much earlier a wheel sets off out of a rest than its course at full pull has it, with its doubt."""

    lag_s: float = 0.5 * RISE_S
    sd_s: float = 0.006


def with_the_pulls_coming(
    models: Sequence[Model], turnings: Sequence[Turning | None]
) -> tuple[list[Turning | None], Lag]:
    """The turnings (one after each run of ``models``) with the vertices without a rest placed anew, and what they say
    of starts out of a rest."""
    placed = list(turnings)
    turned = [
        (at, turning) for at, turning in enumerate(turnings) if turning is not None and turning.rest_s == 0.0
    ]
    told = []
    for (at, turning), verdicts in zip(turned, _verdicts(models, turned), strict=True):
        # Where none of them fits, the turnaround follows no such course.
        if min(verdict.misfit for verdict in verdicts) <= _ODD * turning.near.used.sum():
            told.append((at, turning, verdicts))
    if not told:
        return placed, Lag()
    cost, vertex, spread = (
        _between([[getattr(verdict, name) for verdict in verdicts] for _, _, verdicts in told])
        for name in ("cost", "vertex_s", "vertex_sd_s")
    )
    evidence = cost + _OTHERS * (cost.sum(axis=0) - cost) + _beforehand()
    for number, (at, turning, _) in enumerate(told):
        placed[at] = _placed(turning, vertex[number], spread[number], _weights(evidence[number]))
    return placed, _lag(_weights(_OTHERS * cost.sum(axis=0) + _beforehand()))


def _beforehand() -> Array:
    """−2·log odds of all shifts and times, before any turnaround told."""
    odds: Array = np.square(_fine_shifts())[:, None] + (np.log(_fine_s() / _COMING_S) / _SPREAD) ** 2
    return odds


def _weights(cost: Array) -> Array:
    weight = np.exp(-0.5 * (cost - cost.min()))
    weights: Array = weight / weight.sum()
    return weights


def _lag(weight: Array) -> Lag:
    """The lag of a pull that comes in any of the times, whatever the shift."""
    likely = weight.sum(axis=0)
    lag_s = np.maximum(_SHARE_OF_LAG * _fine_s() - _BEFORE_MOVING_S, 0.0)
    mean = float(likely @ lag_s)
    return Lag(mean, math.sqrt(float(likely @ (lag_s - mean) ** 2) + _LAG_SD_S**2))


def _fine_s() -> Array:
    return np.geomspace(_TIMES_S[0], _TIMES_S[-1], _FINELY)


def _fine_shifts() -> Array:
    return np.linspace(_SHIFTS[0], _SHIFTS[-1], _FINELY)


def _between(values: Sequence[Sequence[float]]) -> Array:
    """What verdicts (r, shifts · times) say of all shifts and times in between, (r, _FINELY, _FINELY)."""
    table = np.asarray(values).reshape(len(values), len(_SHIFTS), len(_TIMES_S))
    times = between(np.log(_TIMES_S), np.log(_fine_s()))
    return between(np.array(_SHIFTS), _fine_shifts()) @ table @ times.T


def _verdicts(models: Sequence[Model], turned: Sequence[tuple[int, Turning]]) -> list[list[Verdict]]:
    """For each turnaround the best vertex for each shift and each time that the pull may take."""
    readings = [
        Reading(shifted, turning.near, turning.way, coming_s)
        for at, turning in turned
        for shifted in _shifted(models[at])
        for coming_s in _TIMES_S
    ]
    if not readings:
        return []
    verdicts = Readings(readings).straight(np.arange(len(readings)))
    each = len(_SHIFTS) * len(_TIMES_S)
    return [[verdicts[at * each + number] for number in range(each)] for at in range(len(turned))]


def _shifted(model: Model) -> list[Model]:
    """A model with each shift, as if it were known."""
    shift, shift_sd = shift_prior(model.spacing_rad)
    if shift_sd > model.shift_sd_rad:
        shift, shift_sd = model.shift_rad, model.shift_sd_rad
    return [
        dataclasses.replace(model, shift_rad=shift + number * shift_sd, shift_sd_rad=_SHIFT_SD_RAD)
        for number in _SHIFTS
    ]


def _placed(turning: Turning, vertex: Array, spread: Array, weight: Array) -> Turning:
    """The vertex in the mean over all shifts and times, with their differences in its doubt."""
    mean = float((weight * vertex).sum())
    doubt = float(np.sqrt((weight * (spread**2 + (vertex - mean) ** 2)).sum()))
    return dataclasses.replace(turning, vertex_s=mean, vertex_sd_s=doubt)
