"""A turnaround as a vertex: how well edges on either side agree with a time of turning and a rest there.

At the vertex the speed is 0 and the angle A. Either side leaves it with an acceleration of its own and from then
on jerk is white noise (the joint fit's prior), so the edges' angles are jointly normal and the likelihood of a
vertex time and a rest is one small Cholesky factorisation; a grid of them is done at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brakebeat.reference.spline import Array

# Prior of the acceleration at the vertex and of its change there, as parts of the usual one: pulling need not go
# on where braking stopped, and takes this long to come.
ACCEL_SPREAD = 0.4
ACCEL_SPREAD_AT_REST = 0.6
CHANGE = 0.8
CHANGE_S = 0.045
# Away from the vertex a muscle's pull falls with speed, steadily: the usual acceleration's change in a second.
STEADY_JERK_PER_S = 1.0
# Out of a rest the pull starts from nothing and grows for this long (common experience, no source).
RISE_S = 0.04
# A wheel passes its first magnet within this after setting off.
LONGEST_LEAD_S = 1.5
# Beyond any misfit.
_CORNER = 1e200


@dataclass(frozen=True)
class Prior:
    """Scales of the vertex model: jerk density rad²/s⁵, usual acceleration, the shift's doubt, the spacing, and how
    long the pull takes to come where the wheel turns straight round."""

    jerk_density: float
    accel_rad_s2: float
    shift_sd_rad: float
    spacing_rad: float
    change_s: float = CHANGE_S


@dataclass(frozen=True)
class Vertices:
    """A grid of vertices (m,): −2·log likelihood, misfit, angle of the vertex."""

    cost: Array
    misfit: Array
    angle_rad: Array


def weigh_vertices(
    prior: Prior, t_s: Array, angle_rad: Array, sigma_rad: Array, split: int, vertex_s: Array, rest_s: Array
) -> Vertices:
    """Likelihood of vertices (m,) with rests (m,) for edges (n,), ``split`` of them before the vertex (0 to n).

    Args:
        angle_rad: along the sense before the vertex; there the angle is greatest.
        sigma_rad: each edge's standard deviation.
    """
    before = np.arange(len(t_s)) < split
    # Time from the vertex, either way, rests left out; clipped so that a vertex on an edge stays regular.
    x = np.where(before, vertex_s[:, None] - t_s, t_s - vertex_s[:, None] - rest_s[:, None])
    x = np.maximum(x, 1e-6)
    usual = prior.accel_rad_s2
    rested = rest_s[:, None] > 0.0
    # The mean course: at the usual acceleration, from half a spacing beyond the last edge.
    top = angle_rad[max(split - 1, 0)] + 0.5 * prior.spacing_rad
    fall = np.where(~before & rested, _grown(x, RISE_S), 0.5 * x**2)
    offset = angle_rad - top + usual * fall
    # One acceleration on both sides and a change after the vertex; out of a rest, one for each side.
    spread = np.where(rested, ACCEL_SPREAD_AT_REST, ACCEL_SPREAD) * usual
    common = np.where(before | ~rested, fall, 0.0) * spread
    change = np.where(
        before, 0.0, np.where(rested, spread * fall, CHANGE * usual * _grown(x, prior.change_s))
    )
    ahead = np.where(before, 1.0, -1.0) * prior.shift_sd_rad
    steady = x * x * x / 6.0 * (STEADY_JERK_PER_S * usual)
    covariance = prior.jerk_density * _jerk_covariance(x, before)
    covariance += (before[:, None] == before[None, :]) * (steady[:, :, None] * steady[:, None, :])
    covariance += common[:, :, None] * common[:, None, :] + change[:, :, None] * change[:, None, :]
    covariance += np.multiply.outer(ahead, ahead) + prior.spacing_rad**2
    # Edges a long rest away are told apart by less than a double can hold; rounding must not make that negative.
    rounding = 1e-11 * np.diagonal(covariance, axis1=1, axis2=2)
    covariance += (sigma_rad**2 + rounding)[:, :, None] * np.eye(len(t_s))
    white, ones, determinant = whitened(covariance, offset)
    misfit = (white**2).sum(axis=1)
    # Posterior mean of the vertex's angle: its prior variance times the ones against the solved offsets.
    apex = top + prior.spacing_rad**2 * (ones * white).sum(axis=1)
    return Vertices(misfit + determinant, misfit, apex)


def whitened(covariance: Array, offset: Array) -> tuple[Array, Array, Array]:
    """Offsets (m, n) and ones, made uncorrelated, and the logarithm of each covariance's determinant (m,).

    One factorisation does it all: of rows put below a matrix, Cholesky's factor holds what solving for them gives,
    whatever stands in their own corner, so long as it is great enough.
    """
    m, n = offset.shape
    below = np.empty((m, n + 2, n + 2))
    below[:, :n, :n] = covariance
    below[:, n, :n] = offset
    below[:, n + 1, :n] = 1.0
    below[:, n:, n:] = _CORNER * np.eye(2)
    factor = np.linalg.cholesky(below)
    determinant = 2.0 * np.log(np.diagonal(factor[:, :n, :n], axis1=1, axis2=2)).sum(axis=1)
    return factor[:, n, :n], factor[:, n + 1, :n], determinant


def _grown(x: Array, rise_s: float) -> Array:
    """The way made in times x under an acceleration that grows evenly to 1 within ``rise_s`` and stays."""
    late = np.maximum(x - rise_s, 0.0)
    way: Array = (x * x * x - late * late * late) / (6.0 * rise_s)
    return way


def _jerk_covariance(x: Array, before: np.ndarray) -> Array:
    """Covariance (m, n, n) of thrice integrated white noise of unit density, independent on either side.

    For times a ≤ b from the vertex: ∫₀ᵃ (a − u)²(b − u)²/4 du.
    """
    low = np.minimum(x[:, :, None], x[:, None, :])
    apart = np.abs(x[:, :, None] - x[:, None, :])
    same = before[:, None] == before[None, :]
    # Products, since powers take most of the time of a vertex.
    covariance: Array = same * (low * low * low) * (low * low / 20.0 + apart * (low / 8.0 + apart / 12.0))
    return covariance


def start_from_rest(
    prior: Prior, t_s: Array, way_rad: Array, sigma_rad: Array, *, rises: bool
) -> tuple[float, float, float]:
    """When a wheel at rest set off, to pass edges (n,) at ``way_rad`` from the first one: time, its standard
    deviation, and −2·log of the likelihood.

    Args:
        rises: the pull grows from nothing (played backwards, braking does not).
    """
    lead = np.geomspace(1e-3, LONGEST_LEAD_S, 50)
    zeros = np.full(50, 1e-9 if rises else 0.0)
    cost = np.zeros(50)
    found = None
    for blur, count in ((0.03, 25), (0.01, 25), (0.003, 25), (0.0, 25), (0.0, 0)):
        sigma = np.hypot(sigma_rad, blur)
        found = weigh_vertices(prior, t_s, -way_rad, sigma, 0, t_s[0] - lead, zeros[: len(lead)])
        cost = found.cost
        if count:
            at = int(np.argmin(cost))
            lead = np.linspace(lead[max(at - 1, 0)], lead[min(at + 1, len(lead) - 1)], count)
    assert found is not None
    at = int(np.argmin(cost))
    side = 0.002
    near = weigh_vertices(
        prior, t_s, -way_rad, sigma_rad, 0, t_s[0] - lead[at] + np.array([-side, 0.0, side]), zeros[:3]
    )
    curve = float(near.cost[0] - 2.0 * near.cost[1] + near.cost[2]) / side**2
    spread = float(np.sqrt(2.0 / curve)) if curve > 0.0 else 0.1
    return float(t_s[0] - lead[at]), min(spread, 0.1), float(found.cost[at])
