"""Readings of edges around turnarounds laid out for arithmetic: times, angles, what is fixed of their costs."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from brakebeat.reference.model.likelihood import LEAST_SPEED_RAD_S
from brakebeat.reference.model.spline import Array, Integers
from brakebeat.reference.turnaround.edge_rows import EdgeRows
from brakebeat.reference.turnaround.reading import Reading
from brakebeat.reference.turnaround.side import RISE_S, Sides


class Layout:
    """Readings (r,), each with its own model and up to n edges taken as real.

    ``spacing_rad``, ``usual_rad_s2``, ``shift_sd_rad``, ``unseen_cost``, ``spread`` and ``spread_at_rest`` are their
    models'; ``last_s`` the last edge before the turnaround and ``gap_s`` the time to the first one after it; ``fixed``
    the part of the cost, −2·log likelihood, that does not depend on the turnaround. ``angle_rad`` (r, n) is counted
    along the sense before.
    """

    def __init__(self, readings: Sequence[Reading]) -> None:
        self.readings = readings
        models = [reading.model for reading in readings]
        self.spacing_rad = np.array([model.spacing_rad for model in models])
        self.usual_rad_s2 = np.array([model.usual_accel_rad_s2 for model in models])
        self.shift_sd_rad = np.array([model.shift_sd_rad for model in models])
        self.unseen_cost = np.array([model.unseen_cost for model in models])
        self.spread = np.array([model.manner.spread for model in models])
        self.spread_at_rest = np.array([model.manner.spread_at_rest for model in models])
        self._rows = EdgeRows.of(readings)
        self.split = self._rows.split
        each = np.arange(len(readings))
        self.last_s = self._rows.t_s[each, self.split - 1]
        self.gap_s = self._rows.t_s[each, self.split] - self.last_s
        self.angle_rad = angles(readings, self._rows)
        self.fixed = fixed_costs(readings, self._rows)
        self._outer = self._rows.outer_gaps()
        #: Where the wheel is expected to turn: half a spacing beyond the last edge before.
        self.top_rad = self.angle_rad[each, self.split - 1] + 0.5 * self.spacing_rad

    def density_cost(self, which: Integers, unseen_s: Array) -> Array:
        """−2·log of what turns the densities of the angles of the two edges next to the turnaround into densities of
        times: the speeds there, if the wheel stood ``unseen_s`` (r, 2) from them."""
        gap, speed = (each[which] for each in self._outer)
        passing = speed * unseen_s / (unseen_s + 0.5 * gap)
        cost: Array = -2.0 * np.log(np.maximum(passing, LEAST_SPEED_RAD_S)).sum(axis=1)
        return cost

    def sides(self, which: Integers) -> Sides:
        """Some readings' edges before the turnaround, then their edges after it."""
        return self._before.part(which).beside(self._after.part(which))

    @cached_property
    def _before(self) -> Sides:
        return self._side(self.split[:, None] - 1, -1)

    @cached_property
    def _after(self) -> Sides:
        return self._side(self.split[:, None], 1)

    @cached_property
    def _sigma_rad(self) -> Array:
        """Standard deviations of the edges' angles, (r, n)."""
        noise = [reading.model.noise for reading in self.readings]
        time_s = np.array([each.time_s for each in noise])[:, None]
        angle_rad = np.array([each.angle_rad for each in noise])[:, None]
        return np.hypot(time_s * self._rows.slower_rad_s, angle_rad)

    def _side(self, start: Integers, way: int) -> Sides:
        count = self._rows.count
        longest = int(np.maximum(self.split, count - self.split).max())
        at = start + way * np.arange(longest)
        shown = (at >= 0) & (at < count[:, None])
        at = np.where(shown, at, start)

        models = [reading.model for reading in self.readings]

        def taken(values: Array) -> Array:
            return np.take_along_axis(values, at, axis=1)

        times = taken(self._rows.t_s)
        return Sides(
            np.ascontiguousarray(np.abs(times - times[:, :1]).T),
            np.ascontiguousarray((taken(self.angle_rad) - self.top_rad[:, None]).T),
            np.ascontiguousarray(np.where(shown, taken(self._sigma_rad), 1.0).T),
            np.ascontiguousarray(shown.T.astype(float)),
            np.array([model.manner.rough * model.noise.jerk_density for model in models]),
            self.usual_rad_s2,
            np.full(len(count), RISE_S if way > 0 else 0.0),
            np.array([reading.change_s if way > 0 else 0.0 for reading in self.readings]),
            self.usual_rad_s2 * np.array([model.manner.change if way > 0 else 0.0 for model in models]),
            self.usual_rad_s2 * np.array([model.manner.steady_per_s for model in models]),
            np.array([model.manner.weakens_per_s if way > 0 else 0.0 for model in models]),
        )


def angles(readings: Sequence[Reading], rows: EdgeRows) -> Array:
    """The edges' angles (r, n) along the sense before the turnaround."""
    count = np.cumsum(rows.steps, axis=1)
    angle = count * rows.spacing_rad[:, None] + _offsets(readings, count)
    shift = np.array([reading.model.shift_rad for reading in readings])[:, None]
    before = np.arange(count.shape[1]) < rows.split[:, None]
    angle -= np.where(before, shift, -shift)
    return angle


def _offsets(readings: Sequence[Reading], count: Integers) -> Array:
    """The offsets of the magnets that lie ``count`` (r, n) spacings beyond the first edge."""
    offsets = np.zeros(count.shape)
    sense = np.array([reading.near.sense for reading in readings])[:, None]
    known = [number for number, reading in enumerate(readings) if len(reading.model.offsets_rad)]
    if known:
        tables = np.array([readings[number].model.offsets_rad for number in known])
        base = np.array([readings[number].near.base for number in known])[:, None]
        at = (base + sense[known] * count[known]) % tables.shape[1]
        offsets[known] = np.take_along_axis(tables, at, axis=1)
    for number in set(range(len(readings))).difference(known):
        near = readings[number].near
        if near.offset_rad is not None:
            own = near.offset_rad[near.used]
            offsets[number, : len(own)] = own
    return sense * offsets


def fixed_costs(readings: Sequence[Reading], rows: EdgeRows) -> Array:
    """The part of each reading's cost (r,) that does not depend on when the wheel turned: densities of angles become
    densities of times, magnets were missed, edges came from nowhere, strokes show their pattern turned."""
    place = np.arange(rows.t_s.shape[1])
    # How fast the wheel passes the edges next to the turnaround depends on when it turns.
    beside = (place == rows.split[:, None] - 1) | (place == rows.split[:, None])
    fixed = -2.0 * np.log(np.where(beside, 1.0, np.maximum(rows.slower_rad_s, 1.0))).sum(axis=1)
    passed = np.abs(rows.steps).sum(axis=1) - np.abs(np.array([reading.way for reading in readings]))
    fixed += np.array([reading.model.unseen_cost for reading in readings]) * (passed - (rows.count - 2))
    faults = np.array([len(reading.near.t_s) for reading in readings]) - rows.count
    fixed += np.array([reading.model.nowhere_cost for reading in readings]) * faults
    across = rows.steps.sum(axis=1).tolist()
    for number, (reading, steps) in enumerate(zip(readings, across, strict=True)):
        distance = reading.near.distance_cost
        if distance is not None:
            fixed[number] += distance[reading.near.sense * steps % len(distance)]
    return np.asarray(fixed, np.float64)
