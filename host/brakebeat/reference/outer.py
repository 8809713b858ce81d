"""The outermost edges of a chain: a fault before the wheel sets off, or after it has come to rest, is cut off.

Within a chain the turnarounds on either side vouch for an edge; out here only physics does. From rest the wheel
sets off less than a spacing before its first edge; edges that do not fit that course but whose absence does are
faults.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

import numpy as np

from brakebeat.reference.likelihood import MISS_CHANCE, SPURIOUS_PER_S
from brakebeat.reference.reading import Model
from brakebeat.reference.spline import Array, Integers
from brakebeat.reference.strokes import EdgeRun, part_of_run
from brakebeat.reference.vertex import LONGEST_LEAD_S, Prior, weigh_vertices

NEAR = 8
_MOST_CUT = 3
_FAULT_COST = -2.0 * float(np.log(SPURIOUS_PER_S))
# Cutting edges off must explain the rest of them better by this much.
_MARGIN = 2.0
_UNSEEN_COST = -2.0 * float(np.log(MISS_CHANCE))


def trim_start(run: EdgeRun, table_rad: Array, model: Model) -> EdgeRun:
    """The run without faults before its first edge, and with a magnet missed among the first ones put in.

    Args:
        table_rad: the magnets' offsets counted along the shaft from the run's first edge (empty if none).
    """
    cut, place = _reread(run.t_s, run.place, run.sense, table_rad, model)
    return part_of_run(dataclasses.replace(run, place=place), slice(cut, len(run.t_s)))


def trim_end(run: EdgeRun, table_rad: Array, model: Model) -> EdgeRun:
    """The run without faults after its last edge: the same look at the run played backwards."""
    last = int(run.place[-1])
    mirrored = np.roll(table_rad, -run.sense * last)
    cut, place = _reread(-run.t_s[::-1], last - run.place[::-1], -run.sense, mirrored, model)
    return part_of_run(dataclasses.replace(run, place=place[-1] - place[::-1]), slice(0, len(run.t_s) - cut))


def _reread(t_s: Array, place: Integers, sense: int, table_rad: Array, model: Model) -> tuple[int, Integers]:
    """How many of the first edges are faults, and the places of all with what was missed among the first ones."""
    best, best_cost = (0, place), np.inf
    for cut, places, doubt in _readings(place):
        shown = slice(cut, min(len(t_s), NEAR + _MOST_CUT))
        angle = places[shown] * model.spacing_rad
        if len(table_rad):
            angle = angle + sense * table_rad[sense * places[shown] % len(table_rad)]
        cost = _cost_from_rest(t_s[shown], angle - angle[0], model) + doubt
        if cost < best_cost - (_MARGIN if best_cost < np.inf and doubt else 0.0):
            best, best_cost = (cut, places), cost
    return best


def _readings(place: Integers) -> Iterator[tuple[int, Integers, float]]:
    """Cuts and changed strides with −2·log prior odds, the edges as they stand first."""
    for cut in range(min(_MOST_CUT, max(len(place) - NEAR // 2, 0)) + 1):
        yield cut, place, cut * _FAULT_COST
    for at in range(1, min(_MOST_CUT + 2, len(place))):
        stride = int(place[at] - place[at - 1])
        for more in (1, -1) if stride > 1 else (1,):
            changed = place.copy()
            # Later places stand: the offsets are counted by them.
            changed[:at] -= more
            yield 0, changed, _UNSEEN_COST * more


def _cost_from_rest(t_s: Array, way_rad: Array, model: Model) -> float:
    """−2·log likelihood of edges that follow a start from rest."""
    gaps = np.maximum(np.diff(t_s), 1e-5)
    speed = np.abs(np.diff(way_rad)) / gaps
    slower = np.maximum(np.minimum(np.append(speed, speed[-1:]), np.append(speed[:1], speed)), 1.0)
    sigma = np.hypot(model.noise.sigma(slower), 1e-3)
    prior = Prior(model.noise.jerk_density, model.usual_accel_rad_s2, 1e-4, model.spacing_rad)
    lead = np.geomspace(0.004, LONGEST_LEAD_S, 40)
    best = np.inf
    for blur in (0.01, 0.0):
        found = weigh_vertices(
            prior, t_s, -way_rad, np.hypot(sigma, blur), 0, t_s[0] - lead, np.full(len(lead), 1e-9)
        )
        at = int(np.argmin(found.cost))
        best = float(found.cost[at])
        lead = np.linspace(lead[max(at - 1, 0)], lead[min(at + 1, len(lead) - 1)], 40)
    return best - 2.0 * float(np.log(slower).sum())
