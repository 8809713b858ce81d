"""Sides of turnarounds, listened to at many times of turning: what the same edges say is worked out once."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cache

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.model.spline import Array, Integers
from brakebeat.reference.turnaround.course import ALONG_AN_S
from brakebeat.reference.turnaround.gist import STATE, Gist, whiten
from brakebeat.reference.turnaround.side import Sides

_CLOSEST_S = 1e-6
# Of offsets (0), ones (1) and the course (2): the products that are told.
_PAIRS = [1, 1, 2, 1, 2], [1, 2, 2, 0, 0]
# So many sides, and so many numbers, are worked on at once, to stay within a processor's fast memory.
_SIDES_AT_ONCE = 512
_AT_ONCE = 1 << 13
# Sides that differ by less than rounding are the same.
_SAME_DIGITS = 10


@dataclass(frozen=True)
class Told:
    """What sides (r, k) say: −2·log likelihood is ``misfit`` + ``determinant`` if they were at level 0 without the
    acceleration's own doubt.

    ``level`` and ``accel`` are the information on the level and on the acceleration (as a part of the usual one),
    ``both`` on the two together, ``level_pull`` and ``accel_pull`` the information times what they are.
    """

    misfit: Array
    determinant: Array
    level: Array
    both: Array
    accel: Array
    level_pull: Array
    accel_pull: Array

    def part(self, which: slice) -> Told:
        """Some of the sides."""
        return Told(*[getattr(self, field.name)[which] for field in fields(self)])

    def spread_over(self, axis: int) -> Told:
        """The same with an axis more, so that two grids broadcast to all pairs."""
        return Told(*[np.expand_dims(getattr(self, field.name), axis) for field in fields(self)])

    def higher(self, by_rad: Array) -> Told:
        """What the same sides say if their edges' angles are greater by so much."""
        misfit = self.misfit + by_rad * (2.0 * self.level_pull + by_rad * self.level)
        pulls = self.level_pull + by_rad * self.level, self.accel_pull + by_rad * self.both
        return Told(misfit, self.determinant, self.level, self.both, self.accel, *pulls)


class Listener:
    """Sides (r,), with standard deviations ``blurs_rad`` that may be added to every edge's angle."""

    def __init__(self, sides: Sides, blurs_rad: Sequence[float] = (0.0,)) -> None:
        self._lift = sides.level_rad[0]
        # Which of the edges next to a turnaround were read as which magnets moves one side as a whole.
        sides = sides.lower(self._lift)
        self._which, first = _alike(sides.table().round(_SAME_DIGITS))
        self._sides = sides.part(first)
        self._blurs = sorted(set(blurs_rad))
        grows_s = np.maximum(self._sides.rise_s, self._sides.change_s)
        # A pull that weakens goes on to differ from a motion with a jerk that lasts.
        growing = (self._sides.away_s < grows_s) | (self._sides.weakens_per_s > 0.0)
        growing &= self._sides.shown > 0.0
        variance = self._sides.sigma_rad[:, None] ** 2 + np.square(self._blurs)[:, None]

        def blurred(values: Array) -> Array:
            return np.broadcast_to(values[:, None], variance.shape).reshape(len(values), -1)

        edges = (
            blurred(self._sides.away_s),
            blurred(self._sides.level_rad),
            variance.reshape(len(variance), -1),
            blurred(self._sides.shown),
            np.tile(self._sides.jerk_density, len(self._blurs)),
            np.tile(self._sides.steady_rad_s3, len(self._blurs)),
        )
        early = int(growing.sum(axis=0).max(initial=0))
        portions = [slice(at, at + _SIDES_AT_ONCE) for at in range(0, edges[0].shape[1], _SIDES_AT_ONCE)]
        self._gist = Gist.joined([Gist.of(early, *[each[..., own] for each in edges]) for own in portions])

    def listen(self, numbers: Integers, unseen_s: Array, blur_rad: float = 0.0, *, rested: bool) -> Told:
        """What sides numbered so say if the wheel stood ``unseen_s`` (r, k) before their first edge, rested or not."""
        which = self._which[numbers]
        back, first = _alike(np.vstack([which, unseen_s.T]))
        told = np.empty((7, len(first), unseen_s.shape[1]))
        stride = max(_AT_ONCE // (unseen_s.shape[1] * len(self._gist.state)), 1)
        blur = self._blurs.index(blur_rad) * len(self._sides.jerk_density)
        for start in range(0, len(first), stride):
            own = first[start : start + stride]
            side = which[own]
            _listen(
                self._sides.part(side),
                self._gist.part(blur + side),
                np.maximum(unseen_s[own], _CLOSEST_S),
                rested,
                told[:, start : start + stride],
            )
        return Told(*told[:, back]).higher(self._lift[numbers, None])


def _alike(columns: Array) -> tuple[Integers, Integers]:
    """Which of the different ones among columns (c, r) each is, (r,), and where these come, (u,): by a hash of 64 bits,
    in which two of some thousands agree by chance once in 10¹² times."""
    bits = np.ascontiguousarray(columns).view(np.uint64)
    # The upper bits, in which most numbers differ, have to reach the lower ones, too.
    mixed = (bits ^ (bits >> np.uint64(29))) * _odd(len(bits))
    _, first, which = np.unique(mixed.sum(axis=0), return_index=True, return_inverse=True)
    return which, first


@cache
def _odd(count: int) -> NDArray[np.uint64]:
    """Odd numbers (count, 1) without a pattern."""
    drawn = np.frombuffer(hashlib.shake_128(b"sides").digest(8 * count), np.uint64)
    return drawn[:, None] | np.uint64(1)


def _listen(sides: Sides, gist: Gist, unseen_s: Array, rested: bool, told: Array) -> None:
    """The observations' covariances, and beside them their offsets, ones and the acceleration's course, whitened."""
    usual = sides.accel_rad_s2[:, None]
    seen = len(gist.state)
    table = np.zeros((seen, seen + 3, *unseen_s.shape))
    table[:STATE, :STATE] = gist.covariance(unseen_s)
    if not rested and sides.change_s.any():
        grown = gist.course(unseen_s, sides.change_s, sides.weakens_per_s, ALONG_AN_S)
        change = grown * (sides.change_rad_s2 * (sides.change_s > 0.0))[:, None]
        table[:, :seen] += change[:, None] * change
    diagonal = np.einsum("iirk->irk", table[:, :seen])
    diagonal += 1.0
    offset, one, course = table[:, seen], table[:, seen + 1], table[:, seen + 2]
    pulled = gist.course(unseen_s, sides.rise_s * rested, sides.weakens_per_s)
    np.multiply(pulled, usual, out=course)
    one[:] = gist.state[:, 0, :, None]
    np.add(gist.seen[..., None], course, out=offset)
    whiten(table)
    told[0] = gist.misfit[:, None] + (offset * offset).sum(axis=0)
    told[1] = gist.determinant[:, None] + 2.0 * np.log(diagonal.prod(axis=0))
    beside = table[:, seen:]
    told[2:] = (beside[:, _PAIRS[0]] * beside[:, _PAIRS[1]]).sum(axis=0)
