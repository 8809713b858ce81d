"""Readings of edges around turnarounds laid out for arithmetic: times, angles, what is fixed of their costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from brakebeat.reference.reading import Reading
from brakebeat.reference.side import RISE_S, Sides
from brakebeat.reference.spline import Array, Integers


class Layout:
    """Readings (r,), each with its own model and up to n edges taken as real.

    ``spacing_rad``, ``usual_rad_s2``, ``shift_sd_rad`` and ``unseen_cost`` are their models'; ``last_s`` the last edge
    before the turnaround and ``gap_s`` the time to the first one after it; ``fixed`` the part of the cost, −2·log
    likelihood, that does not depend on the turnaround. ``angle_rad`` (r, n) is counted along the sense before.
    """

    def __init__(self, readings: Sequence[Reading]) -> None:
        self.readings = readings
        models = [reading.model for reading in readings]
        self.spacing_rad = np.array([model.spacing_rad for model in models])
        self.usual_rad_s2 = np.array([model.usual_accel_rad_s2 for model in models])
        self.shift_sd_rad = np.array([model.shift_sd_rad for model in models])
        self.unseen_cost = np.array([model.unseen_cost for model in models])
        self._t, self._count, steps = self._edges()
        self.split = np.array([reading.near.split for reading in readings])
        each = np.arange(len(readings))
        self.last_s = self._t[each, self.split - 1]
        self.gap_s = self._t[each, self.split] - self.last_s
        self.angle_rad, self._sigma, self.fixed = self._angles(steps)
        #: Where the wheel is expected to turn: half a spacing beyond the last edge before.
        self.top_rad = self.angle_rad[each, self.split - 1] + 0.5 * self.spacing_rad

    def _edges(self) -> tuple[Array, Integers, Integers]:
        """Times (r, n) of the edges taken as real, how many they are, and how many spacings each lies behind the one
        before, along the sense before the turnaround."""
        longest = max(int(reading.near.used.sum()) for reading in self.readings)
        t_s = np.zeros((len(self.readings), longest))
        steps = np.zeros((len(self.readings), longest), np.int64)
        count = np.zeros(len(self.readings), np.int64)
        for number, reading in enumerate(self.readings):
            near = reading.near
            own = near.used.nonzero()[0]
            count[number] = len(own)
            t_s[number, : len(own)] = near.t_s[own]
            t_s[number, len(own) :] = near.t_s[own[-1]]
            steps[number, : len(own)] = near.steps[own]
            steps[number, 0] = 0
            steps[number, near.split] = -reading.way
            steps[number, near.split + 1 : len(own)] *= -1
        return t_s, count, steps

    def _angles(self, steps: Integers) -> tuple[Array, Array, Array]:
        """The edges' angles (r, n) along the sense before, their standard deviations, and each reading's fixed cost."""
        place = np.arange(steps.shape[1])
        shown = place < self._count[:, None]
        before = place < self.split[:, None]
        count = np.cumsum(steps, axis=1)
        angle = count * self.spacing_rad[:, None] + self._offsets(count)
        shift = np.array([reading.model.shift_rad for reading in self.readings])[:, None]
        angle -= np.where(before, shift, -shift)
        gaps = np.maximum(np.diff(self._t), 1e-5)
        speed = np.maximum(np.abs(steps[:, 1:]), 0.3) * self.spacing_rad[:, None] / gaps
        speed = np.where(shown[:, 1:], speed, np.inf)
        edge = np.full((len(speed), 1), np.inf)
        slower = np.minimum(np.hstack([speed, edge]), np.hstack([edge, speed]))
        slower = np.where(shown, slower, 1.0)
        noise = [reading.model.noise for reading in self.readings]
        time_s = np.array([each.time_s for each in noise])[:, None]
        sigma = np.hypot(time_s * slower, np.array([each.angle_rad for each in noise])[:, None])
        # Densities of angles become densities of times; an edge left out has its own.
        fixed = -2.0 * np.log(np.maximum(slower, 1.0)).sum(axis=1)
        passed = np.abs(steps).sum(axis=1) - np.abs(np.array([reading.way for reading in self.readings]))
        fixed += self.unseen_cost * (passed - (self._count - 2))
        for number, reading in enumerate(self.readings):
            near = reading.near
            fixed[number] += reading.model.nowhere_cost * (len(near.t_s) - self._count[number])
            if near.distance_cost is not None:
                way = near.sense * int(count[number, self._count[number] - 1])
                fixed[number] += near.distance_cost[way % len(near.distance_cost)]
        return angle, sigma, fixed

    def _offsets(self, count: Integers) -> Array:
        offsets = np.zeros(count.shape)
        for number, reading in enumerate(self.readings):
            near, table = reading.near, reading.model.offsets_rad
            if len(table):
                offsets[number] = near.sense * table[(near.base + near.sense * count[number]) % len(table)]
            elif near.offset_rad is not None:
                own = near.offset_rad[near.used]
                offsets[number, : len(own)] = near.sense * own
        return offsets

    @cached_property
    def before(self) -> Sides:
        """The edges before the turnaround."""
        return self._side(self.split[:, None] - 1, -1)

    @cached_property
    def after(self) -> Sides:
        """The edges after it, where the wheel turned straight round."""
        return self._side(self.split[:, None], 1)

    @cached_property
    def after_rest(self) -> Sides:
        """The edges after it, where there was a rest."""
        return replace(self.after, rise_s=RISE_S, change_s=np.zeros(len(self.readings)))

    def _side(self, start: Integers, way: int) -> Sides:
        longest = int(self.split.max() if way < 0 else (self._count - self.split).max())
        at = start + way * np.arange(longest)
        shown = (at >= 0) & (at < self._count[:, None])
        at = np.where(shown, at, start)

        def taken(values: Array) -> Array:
            return np.take_along_axis(values, at, axis=1)

        times = taken(self._t)
        return Sides(
            np.ascontiguousarray(np.abs(times - times[:, :1]).T),
            np.ascontiguousarray((taken(self.angle_rad) - self.top_rad[:, None]).T),
            np.ascontiguousarray(np.where(shown, taken(self._sigma), 1.0).T),
            np.ascontiguousarray(shown.T.astype(float)),
            np.array([reading.model.noise.jerk_density for reading in self.readings]),
            self.usual_rad_s2,
            0.0,
            np.array([reading.change_s if way > 0 else 0.0 for reading in self.readings]),
        )
