"""How far a pull moves a wheel: its acceleration grows to 1 within a time, and weakens as the wheel gets faster.

Muscles pull less the faster they go. On a heavy wheel that hardly shows beside a turnaround, a light one is at half its
greatest speed after a few magnets. Taken to fall evenly with the speed (the linear force–velocity relation of movements
of several joints; common practice, no source), the speed's own rate is growth − k·speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brakebeat.reference.model.spline import Array


@dataclass(frozen=True)
class Growth:
    """How an acceleration grows to 1 in unit time.

    ``way``: further than if it had come at once half-way, the wheel is so far from then on. Until then it lacks that by
    a polynomial in the time that is left: its coefficients. ``powers``: those of the growth itself, from the first on.
    """

    way: float
    cubed: float
    fourth: float
    fifth: float
    powers: tuple[float, float, float]


EVENLY = Growth(1.0 / 6.0, 1.0 / 6.0, 0.0, 0.0, (1.0, 0.0, 0.0))
#: As 3u² − 2u³.
ALONG_AN_S = Growth(0.15, 0.0, 0.25, -0.1, (0.0, 3.0, -2.0))


def weakening(t_s: Array, rise_s: Array, per_s: Array, shape: Growth) -> tuple[Array, Array, Array, Array]:
    """Angle, speed, acceleration and jerk (…) at times since the wheel stood, of shapes that broadcast.

    Args:
        rise_s: the acceleration grows within this; 0: it is there at once.
        per_s: k > 0, by how much of itself it falls for each unit of speed.
    """
    lasts = 1.0 / per_s
    grown = rise_s > 0.0
    rise = np.where(grown, rise_s, 1.0)
    early = np.where(grown, np.minimum(t_s, rise_s), 0.0)
    late = t_s - early
    # While it grows: a polynomial, and what has the wheel stand at first.
    speed = lasts * (
        _speed(early, rise, lasts, shape) - np.exp(-early * per_s) * _speed(0.0 * early, rise, lasts, shape)
    )
    fading = np.exp(-late * per_s)
    speed = np.where(grown, lasts + (speed - lasts) * fading, lasts * (1.0 - fading))
    growth, slope, total = _growth(early / rise, shape)
    growing = grown & (t_s < rise_s)
    accel = np.where(growing, growth, 1.0) - per_s * speed
    jerk = np.where(growing, slope / rise, 0.0) - per_s * accel
    angle = lasts * (np.where(grown, total * rise, 0.0) + late - speed)
    return angle, speed, accel, jerk


def _growth(part: Array, shape: Growth) -> tuple[Array, Array, Array]:
    """The growth, its slope, and its integral, at a part of the rise."""
    a, b, c = shape.powers
    growth = part * (a + part * (b + part * c))
    slope = a + part * (2.0 * b + part * 3.0 * c)
    total = part * part * (a / 2.0 + part * (b / 3.0 + part * c / 4.0))
    return growth, slope, total


def _speed(t_s: Array, rise_s: Array, lasts_s: Array, shape: Growth) -> Array:
    """A speed that the growth's polynomial leads to, in parts of how long speeds last."""
    _, b, c = shape.powers
    part, steps = t_s / rise_s, lasts_s / rise_s
    growth, slope, _ = _growth(part, shape)
    found: Array = growth - steps * (slope - steps * (2.0 * b + 6.0 * c * part - steps * 6.0 * c))
    return found
