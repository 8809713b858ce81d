"""Of two edges close to each other the path may have taken the wrong one: the stroke as a whole tells which."""

from __future__ import annotations

import dataclasses

import numpy as np

from brakebeat.reference.curve.fit import Fit
from brakebeat.reference.curve.strokes import EdgeRun
from brakebeat.reference.model.spline import Array, Integers

# An edge is doubted that lies further off its stroke than this many standard deviations.
_DOUBT = 4.0
# Another one takes its place that lies nearer by this factor.
_NEARER = 0.5


def exchanged(
    run: EdgeRun, fit: Fit, t_s: Array, unused: Integers, own: slice = slice(None)
) -> EdgeRun | None:
    """The run with edges far off replaced by unused ones where the magnet was due; None if all stay.

    Args:
        fit: of this run alone, or of the chain in which ``own`` are its edges.
        t_s: all edges, ``unused``: the numbers of those in no run.
    """
    residual = (fit.angle_rad - fit.chain.at_edges(fit.coefficients, fit.chain.rows))[own]
    speed = fit.speed_rad_s[own]
    doubted = np.flatnonzero(np.abs(residual) > _DOUBT * fit.noise.sigma(speed))
    if not len(doubted) or not len(unused):
        return None
    due_s = run.t_s + run.sense * residual / np.maximum(speed, 1e-3)
    row, times = run.row.copy(), run.t_s.copy()
    for at in doubted:
        low = row[at - 1] if at else -1
        high = row[at + 1] if at + 1 < len(row) else len(t_s)
        between = unused[(unused > low) & (unused < high)]
        if len(between):
            other = int(between[np.argmin(np.abs(t_s[between] - due_s[at]))])
            if abs(t_s[other] - due_s[at]) < _NEARER * abs(times[at] - due_s[at]):
                row[at], times[at] = other, t_s[other]
    if np.array_equal(row, run.row):
        return None
    return dataclasses.replace(run, row=row, t_s=times)
