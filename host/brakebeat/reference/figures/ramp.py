"""Brake onset from the edges themselves: a braking torque that grows from nothing, of all lengths and beginnings.

The spline spreads a ramp by as much as it smooths, so that in dirt its onset comes early. A ramp fitted to the edges
has no such bias, but takes the athlete's torque for smoother than it is. They err for different reasons: their mean
is better than either.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from brakebeat.reference.figures.onset import ONSET_SHARE, Onset
from brakebeat.reference.figures.phases import Phase
from brakebeat.reference.figures.stroke_edges import StrokeEdges
from brakebeat.reference.model.integral import running_integral
from brakebeat.reference.model.spline import Array
from brakebeat.reference.rig_physics import Physics
from brakebeat.reference.turnaround.gist import jerk_covariance

# Looked at from so long before the spline's onset on.
_BEFORE_S = 0.25
# Until the torque has come to this part of its peak, and so long more; further where edges are poor.
_SHORT, _LONG = (0.8, 0.02), (0.95, 0.03)
_POOR_S = 0.005
_SPAN_S, _BEGINNINGS = 0.15, 41
_LENGTHS_S = np.geomspace(0.02, 0.4, 10)
_FEWEST, _MOST_EDGES = 5, 40
# A braking athlete's torque is so much calmer than the recording's jerk density says.
_CALM = 1.0 / 60.0
# Before the ramp a yielding athlete brakes a little, as parts of the peak, where nothing tells how much.
_YIELD, _YIELD_SD = 0.02, 0.02
_HEIGHT_SD, _LEAST_HEIGHT = 2.0, 0.3
# The ramp's share of the mean, where edges are good and where they are poor.
_SHARE, _POOR_SHARE = 0.5, 0.65


def sharpened(onset: Onset, edges: StrokeEdges, phase: Phase, physics: Physics, jerk_density: float) -> Onset:
    """The onset with what a ramp fitted to the edges says of its time; as it is where they are too few.

    Args:
        edges: of the whole stroke.
        jerk_density: of the recording.
    """
    if onset.held:
        return onset
    braking = -phase.accel_rad_s2 - physics.friction_nm(phase.speed_rad_s) / (physics.inertia_kg_m2 or 1.0)
    jerk = _CALM * jerk_density
    share = _SHARE
    found = _ramp(onset, edges, phase, braking, jerk, _SHORT)
    if found is not None and found[1] > _POOR_S:
        share, found = _POOR_SHARE, _ramp(onset, edges, phase, braking, jerk, _LONG) or found
    if found is None:
        return onset
    t_s = float(np.clip((1.0 - share) * onset.t_s + share * found[0], phase.t_s[0], phase.t_s[-1]))
    return replace(onset, t_s=t_s, angle_rad=float(np.interp(t_s, phase.t_s, phase.angle_rad)))


def _ramp(
    onset: Onset,
    edges: StrokeEdges,
    phase: Phase,
    braking: Array,
    jerk_density: float,
    until: tuple[float, float],
) -> tuple[float, float] | None:
    """The onset's time and standard deviation over all ramps; None where there are too few edges."""
    top = int(np.argmax(braking))
    peak = float(braking[top])
    low = np.flatnonzero(braking[: top + 1] < until[0] * peak)
    reached = phase.t_s[min(int(low[-1]) + 1, top)] if len(low) else phase.t_s[top]
    end = min(max(float(reached), onset.t_s + 0.02) + until[1], float(phase.t_s[-1]))
    near = edges.within(max(onset.t_s - _BEFORE_S, float(phase.t_s[0])), end, _MOST_EDGES)
    if len(near.t_s) < _FEWEST:
        return None
    x = near.t_s - onset.t_s
    angle = near.angle_rad - _free_way(near.t_s, phase, braking)
    covariance = jerk_density * jerk_covariance(x - x[0]) + np.diag(near.sigma_rad**2)
    return _over_all(x, angle, np.linalg.inv(np.linalg.cholesky(covariance)), peak, onset)


def _free_way(t_s: Array, phase: Phase, braking: Array) -> Array:
    """How far friction alone holds the wheel back, rad."""
    friction = phase.accel_rad_s2 + braking
    way = running_integral(running_integral(friction, phase.t_s), phase.t_s)
    return np.interp(t_s, phase.t_s, way)


def _over_all(x: Array, angle: Array, whiten: Array, peak: float, onset: Onset) -> tuple[float, float]:
    """Mean and standard deviation of the onset over ramps of all beginnings and lengths, each as likely as it fits."""
    begun, length = (
        grid.ravel() for grid in np.meshgrid(np.linspace(-_SPAN_S, _SPAN_S, _BEGINNINGS), _LENGTHS_S)
    )
    # Place, speed and what torque there is before the ramp: place and speed are free, of the torque hardly any.
    steady = whiten @ np.column_stack([np.ones(len(x)), x, -0.5 * x * x])
    precision = np.array([0.0, 0.0, (_YIELD_SD * peak) ** -2])
    inverse = np.linalg.inv(steady.T @ steady + np.diag(precision))
    told = whiten @ angle
    yields = _YIELD if onset.yields is None else max(onset.yields, 0.0)
    alone = inverse @ (steady.T @ told + precision * yields * peak)
    left = told - steady @ alone
    # Each ramp on top of it, about as high as the spline's peak.
    ramps = whiten @ -_ramp_way(x[:, None] - begun, length)
    across = steady.T @ ramps
    known = (_HEIGHT_SD * peak) ** -2
    information = (ramps * ramps).sum(axis=0) + known - (across * (inverse @ across)).sum(axis=0)
    pull = left @ ramps + known * peak
    height = pull / information
    before = alone[2] - (inverse @ across)[2] * height
    cost = np.log(information) - pull * height + np.where(height < _LEAST_HEIGHT * peak, 1e3, 0.0)
    share = np.clip((ONSET_SHARE * peak - before) / height, 1e-3, 0.999)
    passed = begun + length * np.arccos(1.0 - 2.0 * share) / np.pi
    weight = np.exp(-0.5 * (cost - cost.min()))
    weight /= weight.sum()
    mean = float(weight @ passed)
    return onset.t_s + mean, float(np.sqrt(weight @ (passed - mean) ** 2))


def _ramp_way(x: Array, length_s: Array) -> Array:
    """The way made, times x after it began, under an acceleration that grows to 1 along half a cosine."""
    part = np.clip(x / length_s, 0.0, 1.0)
    early = 0.25 * part * part + (np.cos(np.pi * part) - 1.0) / (2.0 * np.pi**2)
    late = np.maximum(x - length_s, 0.0)
    way: Array = length_s * length_s * early + 0.5 * late * (length_s + late)
    return way
