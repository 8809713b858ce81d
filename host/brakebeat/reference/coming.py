"""How long the pull takes to come where the wheel turns straight round, and what that says about when it turned.

The brake's torque goes on through the turnaround and gives way to the pull's. How fast is the athlete's habit: one
turnaround hardly tells it, those of a session together do.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from brakebeat.reference.reading import Model, Reading, Verdict
from brakebeat.reference.readings import Readings
from brakebeat.reference.side import COMING_S
from brakebeat.reference.spline import Array
from brakebeat.reference.turns import Turning

# The other turnarounds' evidence counts so much of the own one's: no two pulls come quite alike.
_OTHERS = 0.5
# A turnaround with more misfit than this for each edge follows no such course.
_ODD = 3.0


def with_the_pulls_coming(
    models: Sequence[Model], turnings: Sequence[Turning | None]
) -> list[Turning | None]:
    """The turnings (one after each run of ``models``) with the vertices without a rest placed anew."""
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
        return placed
    cost = np.array([[verdict.cost for verdict in verdicts] for _, _, verdicts in told])
    evidence = cost + _OTHERS * (cost.sum(axis=0) - cost)
    for (at, turning, verdicts), own in zip(told, evidence, strict=True):
        placed[at] = _placed(turning, verdicts, np.exp(-0.5 * (own - own.min())))
    return placed


def _verdicts(models: Sequence[Model], turned: Sequence[tuple[int, Turning]]) -> list[list[Verdict]]:
    """For each turnaround the best vertex for each time that the pull may take."""
    readings = [
        Reading(models[at], turning.near, turning.way, coming_s)
        for at, turning in turned
        for coming_s in COMING_S
    ]
    if not readings:
        return []
    verdicts = Readings(readings).straight(np.arange(len(readings)))
    each = len(COMING_S)
    return [[verdicts[at * each + number] for number in range(each)] for at in range(len(turned))]


def _placed(turning: Turning, verdicts: list[Verdict], weight: Array) -> Turning:
    """The vertex in the mean over the verdicts, with their differences in its doubt."""
    weight = weight / weight.sum()
    vertex = np.array([verdict.vertex_s for verdict in verdicts])
    spread = np.array([verdict.vertex_sd_s for verdict in verdicts])
    mean = float(weight @ vertex)
    doubt = float(np.sqrt(weight @ (spread**2 + (vertex - mean) ** 2)))
    return dataclasses.replace(turning, vertex_s=mean, vertex_sd_s=doubt)
