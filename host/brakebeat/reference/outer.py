"""The outermost edges of a chain: a fault before the wheel sets off, or after it has come to rest, is cut off.

Within a chain the turnarounds on either side vouch for an edge; out here only physics does. From rest the wheel
sets off less than a spacing before its first edge; edges that do not fit that course but whose absence does are
faults.
"""

from __future__ import annotations

import numpy as np

from brakebeat.reference.likelihood import SPURIOUS_PER_S
from brakebeat.reference.reading import Model
from brakebeat.reference.spline import Array
from brakebeat.reference.strokes import EdgeRun, part_of_run
from brakebeat.reference.vertex import Prior, weigh_vertices

NEAR = 8
_MOST_CUT = 3
_FAULT_COST = -2.0 * float(np.log(SPURIOUS_PER_S))
# Cutting edges off must explain the rest of them better by this much.
_MARGIN = 2.0
_LONGEST_LEAD_S = 1.5


def trim_start(run: EdgeRun, model: Model) -> EdgeRun:
    """The run without faults before its first edge."""
    cut = _cut(run.t_s, run.place, model)
    return part_of_run(run, slice(cut, len(run.t_s)))


def trim_end(run: EdgeRun, model: Model) -> EdgeRun:
    """The run without faults after its last edge: the same look at the run played backwards."""
    cut = _cut(-run.t_s[::-1], run.place[-1] - run.place[::-1], model)
    return part_of_run(run, slice(0, len(run.t_s) - cut))


def _cut(t_s: Array, place: Array, model: Model) -> int:
    """How many of the first edges are faults."""
    most = min(_MOST_CUT, len(t_s) - NEAR // 2)
    if most < 1:
        return 0
    shown = min(len(t_s), NEAR + _MOST_CUT)
    costs = [
        _cost_from_rest(t_s[cut:shown], place[cut:shown], model) + cut * _FAULT_COST for cut in range(most + 1)
    ]
    best = int(np.argmin(costs))
    return best if costs[best] < costs[0] - _MARGIN else 0


def _cost_from_rest(t_s: Array, place: Array, model: Model) -> float:
    """−2·log likelihood of edges that follow a start from rest."""
    angle = -(place - place[0]) * model.spacing_rad
    gaps = np.maximum(np.diff(t_s), 1e-5)
    speed = np.abs(np.diff(angle)) / gaps
    slower = np.maximum(np.minimum(np.append(speed, speed[-1]), np.append(speed[0], speed)), 1.0)
    # Offsets are not known yet: they count as noise in the model's own.
    sigma = np.hypot(model.noise.sigma(slower), 1e-3)
    prior = Prior(model.noise.jerk_density, model.usual_accel_rad_s2, 1e-4, model.spacing_rad)
    lead = np.geomspace(0.004, _LONGEST_LEAD_S, 40)
    rest = np.full(len(lead), 1e-9)
    found = weigh_vertices(prior, t_s, angle, sigma, 0, t_s[0] - lead, rest)
    return float(found.cost.min()) - 2.0 * float(np.log(slower).sum())
