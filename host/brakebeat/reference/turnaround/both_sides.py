"""Both sides of turnarounds, listened to together; what a turnaround costs beside its edges' likelihood."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from brakebeat.reference.model.likelihood import REACH_RAD
from brakebeat.reference.model.spline import Array, Integers
from brakebeat.reference.turnaround.layout import Layout
from brakebeat.reference.turnaround.listener import Listener, Told
from brakebeat.reference.turnaround.meeting import Met, met

# −2·log chance of a graze that still gives its edge.
_GRAZE_COST = 1.4
# A wheel may take so many times as long as usual from a magnet to standstill, give or take (in its logarithm).
_SLOW, _SLOW_SPREAD = 2.0, 0.35


class Ear:
    """Readings (r,), ``which`` of a layout's, with a listener to both sides of each."""

    def __init__(self, layout: Layout, which: Integers, blurs_rad: Sequence[float]) -> None:
        self.layout, self.which = layout, which
        self.listener = Listener(layout.sides(which), blurs_rad)


class BothSides:
    """Some of an ear's readings, (r,), in that order, with or without a rest between their sides.

    The wheel stood some time after the last edge before the turnaround, and some time before the first edge after
    it: ``before_s`` and ``after_s`` below; what they leave of the gap was a rest.
    """

    RESTED = False

    def __init__(self, ear: Ear, places: Integers) -> None:
        self._layout, self._own = ear.layout, ear.which[places]
        self._listener, self._sides = ear.listener, np.append(places, places + len(ear.which))
        self.gap_s = ear.layout.gap_s[self._own]
        self.last_s = ear.layout.last_s[self._own]
        self.spacing_rad, self.shift_sd_rad = (
            ear.layout.spacing_rad[self._own],
            ear.layout.shift_sd_rad[self._own],
        )
        self.spread = (ear.layout.spread_at_rest if self.RESTED else ear.layout.spread)[self._own]
        self._usual_s = np.sqrt(2.0 * self.spacing_rad / ear.layout.usual_rad_s2[self._own])[:, None]

    def listen(self, before_s: Array, after_s: Array, blur_rad: float = 0.0) -> tuple[Told, Told]:
        """What the sides say, each at times (r, k)."""
        unseen_s = np.concatenate([before_s, after_s])
        told = self._listener.listen(self._sides, unseen_s, blur_rad, rested=self.RESTED)
        return told.part(slice(0, len(before_s))), told.part(slice(len(before_s), None))

    def met(self, before: Told, after: Told, axes: int) -> Met:
        """What both sides say together; they have so many axes behind the readings'."""
        wide = (slice(None), *[None] * axes)
        scales = self.spacing_rad[wide], self.shift_sd_rad[wide], self.spread[wide]
        return met(before, after, *scales, rested=self.RESTED)

    def idle(self, unseen_s: Array) -> Array:
        """Cost (r, k) of turning on unseen for far longer than a braked or pulled wheel takes from magnet to magnet."""
        off = np.log(np.maximum(unseen_s, 1e-6) / self._usual_s / _SLOW)
        cost: Array = (np.maximum(off, 0.0) / _SLOW_SPREAD) ** 2
        return cost

    def beyond_likelihood(self, before_s: Array, after_s: Array, level_rad: Array) -> Array:
        """What each reading costs (r,) beside the likelihood of its edges' angles, if the wheel turned ``level_rad``
        beyond where it is expected to."""
        density = self._layout.density_cost(self._own, np.column_stack([before_s, after_s]))
        cost: Array = self._layout.fixed[self._own] + self._unseen(level_rad) + density
        return cost

    def _unseen(self, level_rad: Array) -> Array:
        """Magnets that the wheel must have passed between the edges without their showing."""
        layout, own = self._layout, self._own
        top = level_rad + layout.top_rad[own]
        cost = np.zeros(len(own))
        for edge in (layout.split[own] - 1, layout.split[own]):
            depth = top - layout.angle_rad[own, edge]
            passed = np.maximum(np.floor((depth - REACH_RAD) / self.spacing_rad), 0.0)
            cost += layout.unseen_cost[own] * passed
            cost += _GRAZE_COST * (depth % self.spacing_rad < REACH_RAD)
            # The wheel cannot turn before the edge that it has passed.
            cost += 4.0 * np.maximum(-depth / REACH_RAD - 0.5, 0.0)
        return cost


def curvature_spread(cost: Array, side_s: float, most_s: float) -> Array:
    """Standard deviations from costs (r, 3) at equal distances."""
    curve = (cost[:, 0] - 2.0 * cost[:, 1] + cost[:, 2]) / side_s**2
    told = curve > 0.0
    spread: Array = np.minimum(np.sqrt(2.0 / np.where(told, curve, 1.0)), most_s)
    return np.where(told, spread, most_s)
