"""Where each stroke begins and ends: the instants at which the fitted speed is zero, and the angles there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brakebeat.reference.fit import Fit
from brakebeat.reference.spline import Array
from brakebeat.reference.strokes import Strokes

_SCAN_S = 0.0005


@dataclass(frozen=True)
class End:
    """One end of a stroke.

    ``t_s``, ``angle_rad`` (in the fit's frame) with standard deviations; ``known`` is False where the wheel was
    still turning at the outermost edge and does not come to rest where another edge would have to show.
    """

    t_s: float
    angle_rad: float
    t_sd_s: float
    angle_sd_rad: float
    known: bool


@dataclass(frozen=True)
class Stroke:
    """A stroke of one sense within a bout, with both its ends."""

    bout: int
    sense: int
    begin: End
    finish: End
    edges: slice


def locate_strokes(strokes: Strokes, fit: Fit, spacing_rad: float) -> list[Stroke]:
    """Both ends of every stroke, in order."""
    found: list[Stroke] = []
    for bout, (start, stop) in enumerate(strokes.bouts()):
        begin = _outer_end(strokes, fit, bout, strokes.edges(start), spacing_rad, before=True)
        for stroke in range(start, stop):
            edges = strokes.edges(stroke)
            sense = int(strokes.sense[edges.start])
            if stroke + 1 < stop:
                finish = _inner_end(strokes, fit, bout, edges.stop, sense)
            else:
                finish = _outer_end(strokes, fit, bout, edges, spacing_rad, before=False)
            found.append(Stroke(bout, sense, begin, finish, edges))
            begin = finish
    return found


def _inner_end(strokes: Strokes, fit: Fit, bout: int, cut: int, sense: int) -> End:
    """The turnaround between the edges ``cut − 1`` and ``cut``."""
    low, high = float(strokes.t_s[cut - 1]), float(strokes.t_s[cut])
    room = 0.25 * (high - low) + 0.02
    t = np.arange(low - room, high + room, _SCAN_S)
    speed = sense * fit.bouts[bout].grid.value(fit.coefficients[bout], t, 1)
    falls = np.flatnonzero((speed[:-1] > 0.0) & (speed[1:] <= 0.0))
    if not len(falls):
        return _end(fit, bout, 0.5 * (low + high), True)
    middle = 0.5 * (low + high)
    at = falls[np.argmin(np.abs(t[falls] - middle))]
    return _end(fit, bout, float(t[at] + _SCAN_S * speed[at] / (speed[at] - speed[at + 1])), True)


def _outer_end(
    strokes: Strokes, fit: Fit, bout: int, edges: slice, spacing_rad: float, *, before: bool
) -> End:
    """Standstill before a bout's first edge or after its last."""
    grid, coefficients = fit.bouts[bout].grid, fit.coefficients[bout]
    edge = edges.start if before else edges.stop - 1
    sense, t_edge = int(strokes.sense[edge]), float(strokes.t_s[edge])
    outward = -1.0 if before else 1.0
    span = t_edge - grid.start_s if before else grid.end_s - t_edge
    t = t_edge + outward * np.arange(0.0, span, _SCAN_S)
    speed = sense * grid.value(coefficients, t, 1)
    stops = np.flatnonzero(speed <= 0.0)
    if not len(stops):
        return _end(fit, bout, float(t[-1]), False)
    at = int(stops[0])
    t_stop = float(t[at])
    if at:
        t_stop += outward * -_SCAN_S * speed[at] / (speed[at] - speed[at - 1])
    end = _end(fit, bout, t_stop, True)
    travelled = abs(end.angle_rad - float(grid.value(coefficients, np.array([t_edge]))[0]))
    known = travelled < 2.2 * spacing_rad + 3.0 * end.angle_sd_rad + 0.1
    return End(end.t_s, end.angle_rad, end.t_sd_s, end.angle_sd_rad, known)


def _end(fit: Fit, bout: int, t_s: float, known: bool) -> End:
    """The end at ``t_s`` with its uncertainty: δt = −δω/α."""
    grid, coefficients = fit.bouts[bout].grid, fit.coefficients[bout]
    at = np.array([t_s])
    rows = np.vstack([grid.rows(at), grid.rows(at, 1)])
    covariance = fit.covariance(bout, rows)
    accel = float(grid.value(coefficients, at, 2)[0])
    spread = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    t_sd = float(spread[1] / max(abs(accel), 1e-3))
    return End(t_s, float(grid.value(coefficients, at)[0]), t_sd, float(spread[0]), known)


def sampled(fit: Fit, stroke: Stroke, step_s: float) -> tuple[Array, Array, Array, Array]:
    """Time, angle along the turning (from the frame's 0), speed and acceleration along it, on an even grid."""
    count = max(int(np.ceil((stroke.finish.t_s - stroke.begin.t_s) / step_s)), 2) + 1
    t = np.linspace(stroke.begin.t_s, stroke.finish.t_s, count)
    grid, c, s = fit.bouts[stroke.bout].grid, fit.coefficients[stroke.bout], stroke.sense
    return t, s * grid.value(c, t), np.maximum(s * grid.value(c, t, 1), 0.0), s * grid.value(c, t, 2)
