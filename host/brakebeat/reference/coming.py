"""How long the pull takes to come where the wheel turns straight round, and what that says about when it turned.

The brake's torque goes on through the turnaround and gives way to the pull's. How fast is the athlete's habit: one
turnaround hardly tells it, those of a session together do.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from brakebeat.reference.reading import Model, Reading, Verdict
from brakebeat.reference.spline import Array
from brakebeat.reference.turns import Turning

# Common experience, no source.
COMING_S = (0.03, 0.045, 0.06, 0.08)
# The other turnarounds' evidence counts so much of the own one's: no two pulls come quite alike.
_OTHERS = 0.5
# A turnaround with more misfit than this for each edge follows no such course.
_ODD = 3.0


def with_the_pulls_coming(
    models: Sequence[Model], turnings: Sequence[Turning | None]
) -> list[Turning | None]:
    """The turnings (one after each run of ``models``) with the vertices without a rest placed anew."""
    placed = list(turnings)
    told: list[tuple[int, list[Verdict]]] = []
    for number, turning in enumerate(turnings):
        if turning is not None and turning.rest_s == 0.0:
            verdicts = _verdicts(models[number], turning)
            if verdicts is not None:
                told.append((number, verdicts))
    if not told:
        return placed
    cost = np.array([[verdict.cost for verdict in verdicts] for _, verdicts in told])
    evidence = cost + _OTHERS * (cost.sum(axis=0) - cost)
    for (number, verdicts), own in zip(told, evidence, strict=True):
        turning = placed[number]
        assert turning is not None
        placed[number] = _placed(turning, verdicts, np.exp(-0.5 * (own - own.min())))
    return placed


def _verdicts(model: Model, turning: Turning) -> list[Verdict] | None:
    """The best vertex for each time that the pull may take; None where none of them fits."""
    readings = [Reading(model, turning.near, turning.way, coming_s) for coming_s in COMING_S]
    verdicts = [reading.straight() for reading in readings]
    if min(verdict.misfit for verdict in verdicts) > _ODD * readings[0].edges:
        return None
    return verdicts


def _placed(turning: Turning, verdicts: list[Verdict], weight: Array) -> Turning:
    """The vertex in the mean over the verdicts, with their differences in its doubt."""
    weight = weight / weight.sum()
    vertex = np.array([verdict.vertex_s for verdict in verdicts])
    spread = np.array([verdict.vertex_sd_s for verdict in verdicts])
    mean = float(weight @ vertex)
    doubt = float(np.sqrt(weight @ (spread**2 + (vertex - mean) ** 2)))
    return dataclasses.replace(turning, vertex_s=mean, vertex_sd_s=doubt)
