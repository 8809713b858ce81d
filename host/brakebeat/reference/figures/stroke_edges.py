"""A stroke's edges along the turning, with their standard deviations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brakebeat.reference.curve.ends import Stroke
from brakebeat.reference.model.spline import Array


@dataclass(frozen=True)
class StrokeEdges:
    """Edges (n,) of a stroke from rest to rest: times in the chain, angles from φ = 0 along the turning, deviations."""

    t_s: Array
    angle_rad: Array
    sigma_rad: Array

    @classmethod
    def of(cls, stroke: Stroke, zero_rad: float) -> StrokeEdges:
        """All edges of a stroke; those far off the spline count less."""
        fit, own = stroke.fit, stroke.edges
        return cls(
            fit.chain.t_s[own],
            stroke.sense * (fit.angle_rad[own] - zero_rad),
            fit.noise.sigma(fit.speed_rad_s[own]) / np.sqrt(fit.chain.trust[own]),
        )

    def within(self, start_s: float, end_s: float, most: int) -> StrokeEdges:
        """Those from ``start_s`` to ``end_s``; every second, third, … where there would be more than ``most``."""
        rows = np.flatnonzero((self.t_s >= start_s) & (self.t_s <= end_s))
        rows = rows[:: max(-(-len(rows) // most), 1)]
        return StrokeEdges(self.t_s[rows], self.angle_rad[rows], self.sigma_rad[rows])
