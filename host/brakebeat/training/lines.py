"""Curves through what was measured at several inertias, and where they lead, with honest intervals."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Shape = Literal["linear", "logarithmic"]
# Two-sided confidence of every interval here.
CONFIDENCE = 0.95


@dataclass(frozen=True)
class Line:
    """y = intercept + slope·x by least squares; x is the inertia in kg·m² or its natural logarithm.

    ``covariance`` (2, 2) of (intercept, slope); ``degrees`` of freedom of the scatter ``residual_sd``.
    """

    shape: Shape
    intercept: float
    slope: float
    covariance: Array
    degrees: int
    residual_sd: float
    r_squared: float

    @property
    def slope_interval(self) -> tuple[float, float]:
        """Where the slope lies with ``CONFIDENCE``."""
        reach = _quantile(self.degrees) * math.sqrt(self.covariance[1, 1])
        return self.slope - reach, self.slope + reach

    def at(self, inertia_kg_m2: float) -> float:
        """The line's value at an inertia."""
        return self.intercept + self.slope * transformed(self.shape, inertia_kg_m2)

    def zero(self) -> tuple[float | None, float | None, float | None]:
        """(estimate, low, high) of x where the line crosses 0, by Fieller's theorem.

        An end that the data leave open is None; the estimate is None where the line is level.
        """
        if self.slope == 0.0:
            return None, None, None
        low, high = fieller(
            -self.intercept,
            self.slope,
            self.covariance[0, 0],
            self.covariance[1, 1],
            -self.covariance[0, 1],
            _quantile(self.degrees),
        )
        return -self.intercept / self.slope, low, high


@dataclass(frozen=True)
class Comparison:
    """Both shapes of line through the same points, and which fits better.

    ``better`` is None where they cannot be told apart. ``evidence`` is how many times likelier the data are
    under the better line (both have as many parameters).
    """

    linear: Line
    logarithmic: Line
    better: Shape | None
    evidence: float


def transformed(shape: Shape, inertia_kg_m2: float) -> float:
    """x of a line of this shape."""
    return math.log(inertia_kg_m2) if shape == "logarithmic" else inertia_kg_m2


def fit_line(shape: Shape, inertia_kg_m2: Array, y: Array) -> Line:
    """Least squares through n ≥ 3 points (n,) with at least 2 different inertias."""
    x = np.log(inertia_kg_m2) if shape == "logarithmic" else np.asarray(inertia_kg_m2, dtype=float)
    n = len(x)
    mean_x, mean_y = float(x.mean()), float(y.mean())
    spread = float(((x - mean_x) ** 2).sum())
    slope = float(((x - mean_x) * (y - mean_y)).sum()) / spread
    left = y - (mean_y + slope * (x - mean_x))
    variance = float((left**2).sum()) / (n - 2)
    total = float(((y - mean_y) ** 2).sum())
    covariance = variance * np.array(
        [[1.0 / n + mean_x**2 / spread, -mean_x / spread], [-mean_x / spread, 1.0 / spread]]
    )
    r_squared = 1.0 - float((left**2).sum()) / total if total > 0 else math.nan
    return Line(shape, mean_y - slope * mean_x, slope, covariance, n - 2, math.sqrt(variance), r_squared)


def compare_shapes(inertia_kg_m2: Array, y: Array) -> Comparison:
    """Fit both and say which is better: the one under which the data are at least 3 times likelier."""
    linear, logarithmic = fit_line("linear", inertia_kg_m2, y), fit_line("logarithmic", inertia_kg_m2, y)
    first, second = linear.residual_sd, logarithmic.residual_sd
    worse, best = max(first, second), min(first, second)
    # Likelihood ratio of two normal models with the same number of parameters: (s1/s2)^n.
    evidence = 1.0 if worse == best else math.inf if best == 0 else _power(worse / best, len(y))
    better: Shape | None = None
    if evidence >= 3.0:
        better = "linear" if first < second else "logarithmic"
    return Comparison(linear, logarithmic, better, evidence)


def fieller(
    top: float, bottom: float, var_top: float, var_bottom: float, covariance: float, quantile: float
) -> tuple[float | None, float | None]:
    """Where top ÷ bottom lies; an open end is None.

    Fieller's theorem (from memory): all r with (top − r·bottom)² ≤ quantile²·var(top − r·bottom). Where that
    set is not one stretch, nothing is excluded on at least one side of it: both ends are then open.
    """
    g = quantile**2
    a = bottom**2 - g * var_bottom
    b = -2.0 * (top * bottom - g * covariance)
    c = top**2 - g * var_top
    if a <= 0.0:
        return None, None
    # With a > 0 it is never negative but by rounding: top ÷ bottom itself is always in the set.
    root = math.sqrt(max(0.0, b * b - 4.0 * a * c))
    return (-b - root) / (2.0 * a), (-b + root) / (2.0 * a)


def _quantile(degrees: int) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(degrees, 0.5 + CONFIDENCE / 2.0))


def _power(base: float, exponent: int) -> float:
    try:
        return base**exponent
    except OverflowError:
        return math.inf
