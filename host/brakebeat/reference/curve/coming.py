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
from functools import cached_property

import numpy as np

from brakebeat.reference.curve.between import between
from brakebeat.reference.curve.system import shift_prior
from brakebeat.reference.model.spline import Array
from brakebeat.reference.turnaround.reading import Model, Reading, Verdict
from brakebeat.reference.turnaround.readings import Readings
from brakebeat.reference.turnaround.side import USUAL, Manner
from brakebeat.reference.turnaround.turns import Turning

# The other turnarounds' evidence counts so much of the own one's: no two pulls come quite alike.
_OTHERS = 0.5
# A pull may come in any time from the shortest to the longest of these, looked at in so many steps; in about this one,
# give or take (in its logarithm), beforehand: what places simulated vertices best where few magnets hardly tell.
_TIMES_S = (0.01, 0.017, 0.025, 0.035, 0.047, 0.063, 0.085, 0.115, 0.155)
_FINELY = 41
_COMING_S, _SPREAD = 0.035, 0.7
# How far each sense's edges are shifted is the same at all turnarounds, and is asked for together with it: a joint fit
# through the turnarounds tells it worse than what is known beforehand, unless that is next to nothing. In standard
# deviations of what is known; a turnaround's own shift differs hardly.
_SHIFTS = (-2.0, 0.0, 2.0)
_SHIFT_SD_RAD = 0.001
# Out of a rest a pull grows from nothing within one of these times. What passes before it beats friction the wheel does
# not show: that much less than pulls take to come (found on simulated wheels whose pulls came within 12 to 150 ms),
# give or take (in its logarithm).
RISES_S = (0.0, 0.01, 0.02, 0.035, 0.055, 0.085, 0.13)
_BEFORE_MOVING_S, _SHARE_SPREAD = 0.009, 0.3
# A pull out of a rest begins otherwise than those which follow a brake by such a chance, and then at once or in any of
# the times (common experience, no source): a muscle's force takes tens of milliseconds, a strap that jerks taut none.
_OTHERWISE = 0.2
_ANYHOW = (0.2, 0.145, 0.145, 0.155, 0.15, 0.12, 0.085)
# No two pulls come quite alike.
_LAG_SD_S = 0.0015
# A turnaround with more misfit than this for each edge follows no such course.
_ODD = 3.0


@dataclass(frozen=True)
class Habit:
    """How pulls come in a session: how much the acceleration changes around turnarounds; the chance of each of the
    times in which a pull may grow out of a rest (see ``RISES_S``), beforehand."""

    manner: Manner = USUAL
    chance: tuple[float, ...] = _ANYHOW

    @cached_property
    def lag_s(self) -> float:
        """How much earlier a wheel sets off out of a rest than its course at full pull has it."""
        return 0.5 * float(np.dot(self.chance, RISES_S))

    @cached_property
    def lag_sd_s(self) -> float:
        """The doubt of that."""
        off = 0.5 * np.array(RISES_S) - self.lag_s
        return math.sqrt(float(np.dot(self.chance, off**2)) + _LAG_SD_S**2)


def with_the_pulls_coming(
    models: Sequence[Model], turnings: Sequence[Turning | None]
) -> tuple[list[Turning | None], Habit]:
    """The turnings (one after each run of ``models``) with the vertices without a rest placed anew, and what they say
    of starts out of a rest."""
    placed = list(turnings)
    manner = models[0].manner if models else USUAL
    turned = [
        (at, turning) for at, turning in enumerate(turnings) if turning is not None and turning.rest_s == 0.0
    ]
    told = []
    for (at, turning), verdicts in zip(turned, _verdicts(models, turned), strict=True):
        # Where none of them fits, the turnaround follows no such course.
        if min(verdict.misfit for verdict in verdicts) <= _ODD * turning.near.used.sum():
            told.append((at, turning, verdicts))
    if not told:
        return placed, Habit(manner)
    cost, vertex, spread = (
        _between([[getattr(verdict, name) for verdict in verdicts] for _, _, verdicts in told])
        for name in ("cost", "vertex_s", "vertex_sd_s")
    )
    evidence = cost + _OTHERS * (cost.sum(axis=0) - cost) + _beforehand()
    for number, (at, turning, _) in enumerate(told):
        placed[at] = _placed(turning, vertex[number], spread[number], _weights(evidence[number]))
    return placed, Habit(manner, _rises(_weights(_OTHERS * cost.sum(axis=0) + _beforehand())))


def _beforehand() -> Array:
    """−2·log odds of all shifts and times, before any turnaround told."""
    odds: Array = np.square(_fine_shifts())[:, None] + (np.log(_fine_s() / _COMING_S) / _SPREAD) ** 2
    return odds


def _weights(cost: Array) -> Array:
    weight = np.exp(-0.5 * (cost - cost.min()))
    weights: Array = weight / weight.sum()
    return weights


def _rises(weight: Array) -> tuple[float, ...]:
    """The chance of each time out of a rest, where pulls after a brake come in any of theirs, whatever the shift."""
    likely = weight.sum(axis=0)
    least_s = 0.5 * RISES_S[1]
    rises_s, grown_s = np.maximum(RISES_S, least_s), np.maximum(_fine_s() - _BEFORE_MOVING_S, least_s)
    alike = np.exp(-0.5 * (np.log(rises_s[:, None] / grown_s) / _SHARE_SPREAD) ** 2)
    told = (alike / alike.sum(axis=0)) @ likely
    return tuple((_OTHERWISE * np.array(_ANYHOW) + (1.0 - _OTHERWISE) * told).tolist())


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
