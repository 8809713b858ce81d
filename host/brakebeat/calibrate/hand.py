"""How a hand moves a strap from rest to rest: fitted to the edges of pulls, it tells where the shaft stood.

The speed over a pull of duration T is taken as (1 − |2·x^w − 1|^q)^p with x the part of T that has passed: p = q = 2
and w = 1 is the movement of least jerk that hands tend to (Flash and Hogan 1985, from memory), p = 1 slows evenly,
a great q holds the speed in between, w shifts the fastest moment. One person pulls alike each time: the shape is
common to all pulls of a recording.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

_GRID = np.linspace(0.0, 1.0, 401)
# Logarithms of p, q, w that hands are expected to show, and how far they stray; common sense, no source.
_SHAPE = np.log([1.7, 2.5, 1.0])
_SHAPE_SIGMA = np.array([0.4, 0.5, 0.2])
# Before and after a pull the shaft stands anywhere between two magnets.
_BEYOND, _BEYOND_SIGMA = 0.5, 0.45
# Magnets sit where they should to about this part of a spacing.
_OFFSET_SIGMA = 0.1
# How far the shaft may move during a pause, in spacings: the two pulls beside it agree on where it stood.
_TIE = 0.02
_FEWEST = 4
_OWN = 4


@dataclass(frozen=True)
class Hands:
    """All pulls as fitted, in spacings. (k,) each: how far ``before`` a pull's first edge and ``beyond`` its last
    the shaft stood, counted from where those magnets really sit.

    ``covariance`` (2k, 2k): of before and beyond, pull by pull. ``offset`` (magnets,): where the magnets sit beside
    their even places; ``residual`` has one entry for each edge of all pulls.
    """

    before: Array
    beyond: Array
    covariance: Array
    offset: Array
    residual: Array
    freedom: int


class Fit:
    """Edges of k pulls: their times in s, their places from the pull's first one's 0, the magnets' numbers."""

    def __init__(self, t_s: list[Array], place: list[Integers], magnets: int) -> None:
        self._place, self._magnets = place, magnets
        self._time = []
        for times in t_s:
            middle, half = 0.5 * (times[0] + times[-1]), 0.5 * (times[-1] - times[0])
            self._time.append((times - middle) / half)
        self._start = np.concatenate(
            [_SHAPE, np.zeros(magnets), np.tile([_BEYOND, _BEYOND, -1.5, -1.5], len(place))]
        )

    def solve(self, marks: list[Integers], steps: list[int] | None, scatter: float) -> Hands:
        """Fit all pulls.

        Args:
            marks: which magnet gave each edge.
            steps: magnets between a pull's last edge and the next one's first; None leaves them open.
            scatter: the edges' standard deviation, spacings.
        """

        def misfit(unknown: Array) -> Array:
            ties = [] if steps is None else [self._ties(unknown, steps)]
            left = np.concatenate(self._left_over(unknown, marks)) / scatter
            return np.concatenate([left, *ties, *self._priors(unknown)])

        solved = least_squares(misfit, self._start, x_scale="jac", loss="soft_l1", f_scale=3.0, max_nfev=80)
        self._start = solved.x
        shape, offset, own = self._parts(solved.x)
        covariance = np.linalg.pinv(solved.jac.T @ solved.jac)
        at = len(shape) + self._magnets + np.array([_OWN * k + i for k in range(len(own)) for i in (0, 1)])
        edges = sum(len(place) for place in self._place)
        return Hands(
            own[:, 0],
            own[:, 1],
            covariance[np.ix_(at, at)],
            offset,
            np.concatenate(self._left_over(solved.x, marks)),
            max(edges - len(shape) - self._magnets - _OWN * len(own), edges // 4, 1),
        )

    def _parts(self, unknown: Array) -> tuple[Array, Array, Array]:
        """Shape (3,), offsets (magnets,), and (k, 4): before, beyond, logarithms of the time at either end."""
        return unknown[:3], unknown[3 : 3 + self._magnets], unknown[3 + self._magnets :].reshape(-1, _OWN)

    def _left_over(self, unknown: Array, marks: list[Integers]) -> list[Array]:
        """Model minus place at the edges of each pull."""
        shape, offset, own = self._parts(unknown)
        way = _way(np.exp(shape))
        left = []
        for (before, beyond, lead, tail), time, place, mark in zip(
            own, self._time, self._place, marks, strict=True
        ):
            begin, end = -1.0 - np.exp(lead), 1.0 + np.exp(tail)
            at = place + offset[mark]
            passed = np.interp((time - begin) / (end - begin), _GRID, way)
            left.append(passed * (at[-1] - at[0] + before + beyond) + at[0] - before - at)
        return left

    def _ties(self, unknown: Array, steps: list[int]) -> Array:
        _, _, own = self._parts(unknown)
        return np.asarray((own[:-1, 1] + own[1:, 0] - np.array(steps, float)) / _TIE)

    def _priors(self, unknown: Array) -> list[Array]:
        shape, offset, own = self._parts(unknown)
        return [
            (shape - _SHAPE) / _SHAPE_SIGMA,
            offset / _OFFSET_SIGMA,
            ((own[:, :2] - _BEYOND) / _BEYOND_SIGMA).ravel(),
            # Loose: they only keep a pull of few edges from lasting for ever.
            ((own[:, 2:] + 1.5) / 1.5).ravel(),
        ]


def _way(shape: Array) -> Array:
    """The part of the way that is done when each part of the time on the grid has passed."""
    p, q, w = shape
    speed = np.maximum(1.0 - np.abs(2.0 * _GRID**w - 1.0) ** q, 0.0) ** p
    way = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]))])
    return np.asarray(way / way[-1])
