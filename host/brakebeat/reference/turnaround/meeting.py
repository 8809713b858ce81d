"""Where both sides of a turnaround meet: the likelihood of a time of turning and a rest there.

The wheel turns at one angle, which either side's edges tell but for the sensor's shift between the senses; without
a rest it has one acceleration there, after a rest one on each side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brakebeat.reference.model.spline import Array
from brakebeat.reference.turnaround.listener import Told


@dataclass(frozen=True)
class Met:
    """Both sides together: −2·log likelihood, its misfit, how far beyond level 0 the wheel turned."""

    cost: Array
    misfit: Array
    level_rad: Array


def met(
    before: Told, after: Told, angle_sd_rad: Array, shift_sd_rad: Array, accel_spread: Array, *, rested: bool
) -> Met:
    """What sides of shapes that broadcast say together.

    Args:
        angle_sd_rad: prior standard deviation of the angle at which the wheel turns, from level 0.
        shift_sd_rad: prior standard deviation of how far each sense's edges are shifted.
        accel_spread: prior standard deviation of the acceleration at the vertex, as a part of the usual one.
    """
    # The level that the edges before have, and that the edges after have: angle ± shift.
    angle, shift = angle_sd_rad**2, shift_sd_rad**2
    own = 0.25 * (1.0 / shift + 1.0 / angle)
    across = 0.25 * (1.0 / angle - 1.0 / shift)
    misfit = before.misfit + after.misfit
    determinant = before.determinant + after.determinant + np.log(4.0 * angle * shift)
    precision = accel_spread**-2
    if rested:
        gain_before = before.both / (before.accel + precision)
        gain_after = after.both / (after.accel + precision)
        first = before.level - gain_before * before.both + own
        second = after.level - gain_after * after.both + own
        both = across
        pull_first = before.level_pull - gain_before * before.accel_pull
        pull_second = after.level_pull - gain_after * after.accel_pull
        misfit = misfit - before.accel_pull**2 / (before.accel + precision)
        misfit = misfit - after.accel_pull**2 / (after.accel + precision)
        determinant = determinant + np.log(
            (before.accel + precision) * (after.accel + precision) / precision**2
        )
    else:
        accel = before.accel + after.accel + precision
        pull = before.accel_pull + after.accel_pull
        first = before.level - before.both**2 / accel + own
        second = after.level - after.both**2 / accel + own
        both = across - before.both * after.both / accel
        pull_first = before.level_pull - before.both / accel * pull
        pull_second = after.level_pull - after.both / accel * pull
        misfit = misfit - pull**2 / accel
        determinant = determinant + np.log(accel / precision)
    spread = first * second - both * both
    level_first = (second * pull_first - both * pull_second) / spread
    level_second = (first * pull_second - both * pull_first) / spread
    misfit = misfit - pull_first * level_first - pull_second * level_second
    return Met(misfit + determinant + np.log(spread), misfit, 0.5 * (level_first + level_second))


def alone(told: Told, level_sd_rad: float, accel_spread: Array) -> Array:
    """−2·log likelihood of sides that nothing meets."""
    precision, level = accel_spread**-2, level_sd_rad**-2
    accel = told.accel + precision
    own = told.level - told.both**2 / accel + level
    pull = told.level_pull - told.both / accel * told.accel_pull
    misfit = told.misfit - told.accel_pull**2 / accel - pull**2 / own
    cost: Array = misfit + told.determinant + np.log(accel * own / (precision * level))
    return cost
