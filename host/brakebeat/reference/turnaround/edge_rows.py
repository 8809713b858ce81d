"""The edges of readings as arrays: when each came, how far it lies behind the one before, how fast it was passed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.model.spline import Array, Integers
from brakebeat.reference.turnaround.reading import Reading


@dataclass(frozen=True)
class EdgeRows:
    """Edges taken as real, a row for each of r readings, up to n of them.

    ``t_s`` (r, n), beyond a row's last edge that one's; ``steps`` (r, n): how many spacings each lies behind the one
    before, along the sense before the turnaround; ``count`` (r,) edges, ``split`` (r,) of them before the turnaround.
    """

    t_s: Array
    steps: Integers
    count: Integers
    split: Integers
    spacing_rad: Array

    @classmethod
    def of(cls, readings: Sequence[Reading]) -> EdgeRows:
        """The edges of readings."""
        nears = [reading.near for reading in readings]
        each = np.repeat(np.arange(len(nears)), [len(near.t_s) for near in nears])
        used = np.concatenate([near.used for near in nears])
        each = each[used]
        count = np.bincount(each, minlength=len(nears))
        place = np.arange(len(each)) - np.repeat(np.cumsum(count) - count, count)
        t_s = np.zeros((len(nears), int(count.max())))
        steps = np.zeros(t_s.shape, np.int64)
        t_s[each, place] = np.concatenate([near.t_s for near in nears])[used]
        steps[each, place] = np.concatenate([near.steps for near in nears])[used]
        rows, places = np.arange(len(nears)), np.arange(t_s.shape[1])
        t_s = np.where(places < count[:, None], t_s, t_s[rows, count - 1][:, None])
        split = np.array([near.split for near in nears])
        steps[:, 0] = 0
        steps[places > split[:, None]] *= -1
        steps[rows, split] = [-reading.way for reading in readings]
        spacing = np.array([reading.model.spacing_rad for reading in readings])
        return cls(t_s, steps, count, split, spacing)

    @cached_property
    def shown(self) -> NDArray[np.bool_]:
        """Where there is an edge (r, n)."""
        told: NDArray[np.bool_] = np.arange(self.t_s.shape[1]) < self.count[:, None]
        return told

    @cached_property
    def gap_s(self) -> Array:
        """Between each edge and the next, (r, n − 1)."""
        return np.maximum(np.diff(self.t_s), 1e-5)

    @cached_property
    def speed_rad_s(self) -> Array:
        """Mean speed in each gap, (r, n − 1); infinite beyond a row's last edge."""
        speed = np.maximum(np.abs(self.steps[:, 1:]), 0.3) * self.spacing_rad[:, None] / self.gap_s
        return np.where(self.shown[:, 1:], speed, np.inf)

    @cached_property
    def slower_rad_s(self) -> Array:
        """The slower of the mean speeds before and after each edge, (r, n)."""
        edge = np.full((len(self.t_s), 1), np.inf)
        slower = np.minimum(np.hstack([self.speed_rad_s, edge]), np.hstack([edge, self.speed_rad_s]))
        return np.where(self.shown, slower, 1.0)

    def outer_gaps(self) -> tuple[Array, Array]:
        """Of the edges next to the turnaround (r, 2), the gap on the side away from it and the mean speed in it; that
        across the turnaround where there is no other."""
        at = np.column_stack([np.maximum(self.split - 2, 0), np.minimum(self.split, self.count - 2)])
        return np.take_along_axis(self.gap_s, at, 1), np.take_along_axis(self.speed_rad_s, at, 1)
