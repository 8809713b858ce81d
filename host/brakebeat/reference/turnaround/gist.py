"""What the edges of a side say of the motion at the first of them, whenever the wheel stood before.

From that edge on, the edges depend on what went before by its angle, speed and acceleration, and by the jerk that
lasts: four numbers. Any number of edges is worth as many observations of unit variance, worked out once; a time of
turning then costs a system of four or five equations, however many edges there are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from math import factorial

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.model.spline import Array
from brakebeat.reference.turnaround.course import EVENLY, Growth, weakening

#: Angle, speed, acceleration and jerk at the first edge.
STATE = 4
# A combination of them that edges show by less than this part (as a variance) they do not show.
_LEAST = 1e-10
# As a variance, and as a part of one: rounding must not make one negative.
_ROUNDING, _ROUNDING_PART = 1e-11, 1e-14
_DEGREES = 2 * STATE - 1
_UPPER = np.triu_indices(STATE)


def _covariances(lasting: int) -> Array:
    """Coefficients (4·4, powers of time) of the states' covariance after white noise in the acceleration's derivative
    (``lasting`` 0), or under a jerk that lasts (1), each of unit size."""
    table = np.zeros((STATE, STATE, _DEGREES))
    for a in range(STATE - 1 + lasting):
        for b in range(STATE - 1 + lasting):
            # How far derivative a has come after a time: that to this power, over its factorial.
            first, second = STATE - 2 + lasting - a, STATE - 2 + lasting - b
            power = first + second + 1 - lasting
            table[a, b, power] = 1.0 / (factorial(first) * factorial(second) * (1 if lasting else power))
    return table.reshape(STATE * STATE, _DEGREES)


_OF_NOISE, _OF_LASTING = _covariances(0), _covariances(1)


@dataclass(frozen=True)
class Gist:
    """Observations (o,) of sides (r,), readings last; their errors have unit variance and are independent.

    ``state`` (o, 4, r): how each sees the state at the first edge; ``early`` (o, m, r): how it sees what the first m
    edges' angles differ by from what follows from the state; ``seen`` (o, r): the observations. ``misfit`` and
    ``determinant`` (r,): of the edges, beyond the observations'. ``early_s`` (m, r): when those edges came.
    ``noise`` (10, 7, r): the first four observations' covariances, pair by pair, as polynomials in the time from the
    wheel's standing to the first edge.
    """

    state: Array
    early: Array
    seen: Array
    misfit: Array
    determinant: Array
    early_s: Array
    noise: Array

    @classmethod
    def of(
        cls,
        early: int,
        away_s: Array,
        angle_rad: Array,
        variance: Array,
        shown: Array,
        jerk_density: Array,
        lasting: Array,
    ) -> Gist:
        """Of edges (n, r): times from the first one on, angles, their variances; ``shown`` is 0 beyond a side's last.

        Args:
            early: so many edges come while the acceleration may still grow.
            jerk_density, lasting: (r,), of the jerk, and the standard deviation of a part of it that lasts.
        """
        count, readings = away_s.shape
        basis = STATE + early
        table = np.zeros((count, count + basis + 1, readings))
        first, second = np.triu_indices(count)
        covariance = jerk_covariance_of(away_s[first], away_s[second])
        table[first, second] = jerk_density * covariance * (shown[first] * shown[second])
        at = np.arange(count)
        table[at, at] += _ROUNDING_PART * table[at, at] + variance + _ROUNDING
        own = table[:, count:]
        own[:, 0] = shown
        for power in range(1, STATE):
            own[:, power] = own[:, power - 1] * away_s / power
        for edge in range(early):
            own[edge, STATE + edge] = shown[edge]
        own[:, basis] = angle_rad * shown
        whiten(table)
        determinant = 2.0 * np.log(table[at, at]).sum(axis=0)
        products = np.einsum("nir,njr->ijr", own, own)
        whiten(products[:basis], _LEAST)
        triangle = products[:basis] * np.triu(np.ones((basis, basis + 1)))[..., None]
        misfit = products[basis, basis] - (triangle[:, basis] ** 2).sum(axis=0)
        return cls(
            triangle[:, :STATE],
            triangle[:, STATE:basis],
            triangle[:, basis],
            misfit,
            determinant,
            away_s[:early],
            _noise(triangle[:STATE, :STATE], jerk_density, lasting),
        )

    @classmethod
    def joined(cls, parts: Sequence[Gist]) -> Gist:
        """The sides of all parts, one part after the other."""
        return cls(
            *[np.concatenate([getattr(part, field.name) for part in parts], -1) for field in fields(cls)]
        )

    def part(self, which: slice | NDArray[np.int64]) -> Gist:
        """Some of the sides."""
        return Gist(*[getattr(self, field.name)[..., which] for field in fields(self)])

    def covariance(self, unseen_s: Array) -> Array:
        """Covariance (4, 4, r, k; its upper triangle) of the first four observations, if the wheel stood ``unseen_s``
        (r, k) before the first edge."""
        powers = np.ones((unseen_s.shape[0], _DEGREES, unseen_s.shape[1]))
        powers[:, 1:] = unseen_s[:, None]
        covariance = np.zeros((STATE, STATE, *unseen_s.shape))
        noise = np.ascontiguousarray(np.moveaxis(self.noise, 2, 0))
        pairs = noise @ np.multiply.accumulate(powers, axis=1)
        covariance[_UPPER] = np.moveaxis(pairs, 1, 0)
        return covariance

    def course(self, unseen_s: Array, rise_s: Array, weakens_per_s: Array, shape: Growth = EVENLY) -> Array:
        """What the observations see (o, r, k) of an acceleration that grows to 1 within ``rise_s`` (r,) of the time
        when the wheel stood, ``unseen_s`` (r, k) before the first edge, and stays, or weakens with the speed (r,)."""
        angle, speed, accel = (self.state[:, at, :, None] for at in range(3))
        rise_s = rise_s[:, None]
        constant = accel - 0.5 * rise_s * speed + shape.way * rise_s * rise_s * angle
        course = constant + unseen_s * (speed - 0.5 * rise_s * angle + unseen_s * (0.5 * angle))
        for edge, early_s in enumerate(self.early_s):
            # While it still grows, the wheel is not yet where the state at the first edge would have it.
            left = np.maximum(rise_s - unseen_s - early_s[:, None], 0.0) / np.maximum(rise_s, 1e-6)
            missing = left * left * left * (shape.cubed + left * (shape.fourth + left * shape.fifth))
            course -= self.early[:, edge, :, None] * (missing * rise_s * rise_s)
        weak = np.flatnonzero(weakens_per_s)
        if len(weak):
            own = self.part(weak)
            course[:, weak] = own._weakening(unseen_s[weak], rise_s[weak], weakens_per_s[weak, None], shape)
        return course

    def _weakening(self, unseen_s: Array, rise_s: Array, per_s: Array, shape: Growth) -> Array:
        now = weakening(unseen_s, rise_s, per_s, shape)
        course = sum(self.state[:, at, :, None] * now[at] for at in range(STATE))
        angle, speed, accel, jerk = now
        for edge, early_s in enumerate(self.early_s):
            # Further on, the wheel is not where a jerk that lasts would have it.
            away = early_s[:, None]
            steady = angle + away * (speed + away * (accel / 2.0 + away * jerk / 6.0))
            there = weakening(unseen_s + away, rise_s, per_s, shape)[0]
            course += self.early[:, edge, :, None] * (there - steady)
        return np.asarray(course)


def _noise(state: Array, jerk_density: Array, lasting: Array) -> Array:
    pairs = (state[_UPPER[0], :, None] * state[_UPPER[1], None, :]).reshape(-1, STATE * STATE, state.shape[2])
    pairs = np.moveaxis(pairs, 1, 2)
    noise = (pairs * jerk_density[:, None]) @ _OF_NOISE + (pairs * (lasting * lasting)[:, None]) @ _OF_LASTING
    return np.moveaxis(noise, 1, 2)


def whiten(table: Array, least: float = 0.0) -> None:
    """Cholesky's factorisation of many matrices at once, in place: their upper triangles (c, c, …), and beside them
    right-hand sides (c, q, …), which come out multiplied by the inverse of the transposed factor.

    Args:
        least: rows that come to this part of their diagonal or less depend on the others, and come out as 0.
    """
    for row in range(len(table)):
        own = table[row, row:]
        enough = least * own[0]
        for earlier in range(row):
            own -= table[earlier, row:] * table[earlier, row]
        root = np.sqrt(own[0]) if not least else np.sqrt(np.where(own[0] > enough, own[0], np.inf))
        own /= root


def jerk_covariance(x: Array) -> Array:
    """Covariance (n, n, …) of thrice integrated white noise of unit density at times (n, …): for a ≤ b it is
    ∫₀ᵃ (a − u)²(b − u)²/4 du."""
    return jerk_covariance_of(np.minimum(x[:, None], x), np.maximum(x[:, None], x))


def jerk_covariance_of(a: Array, b: Array) -> Array:
    """The same for pairs of times a ≤ b."""
    apart = b - a
    covariance: Array = a * a * a * (a * a / 20.0 + apart * (a / 8.0 + apart / 12.0))
    return covariance
