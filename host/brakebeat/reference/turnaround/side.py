"""One side of a turnaround: its edges, and how a wheel comes to rest and sets off.

Given the angle at which it turned and the acceleration there, the edges of either side are jointly normal and
independent of the other's: the jerk is white noise on each. So each side is weighed alone, at times of its own (see
``listener``), and only a few numbers for each have to meet (see ``meeting``): two grids do the work of all their pairs.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from brakebeat.reference.model.spline import Array, Integers

# The acceleration may change within this time after the vertex: pulling need not go on where braking stopped.
CHANGE_S = 0.045
# How long that takes is the athlete's habit, which a single turnaround hardly tells (common experience, no source).
COMING_S = (0.006, 0.015, 0.025, 0.035, 0.05, 0.07, 0.1, 0.15)
# Out of a rest the pull starts from nothing and grows for this long (common experience, no source).
RISE_S = 0.035


@dataclass(frozen=True)
class Manner:
    """How much the acceleration changes around turnarounds, in parts of the usual one: as the rig and the athlete are.

    ``change``: after the vertex, since pulling need not go on where braking stopped; ``steady_per_s``: in a second,
    away from the vertex, since a pull weakens with speed and a brake may still build up; ``spread``: how far it may be
    from the usual one at the vertex; ``rough``: how rough the motion is there, in parts of the recording's jerk;
    ``coming_s``: how long the pull takes to come where the wheel turns straight round; ``weakens_per_s``: how fast it
    falls off as the wheel runs up (see ``course``), 0: not beyond what ``steady_per_s`` allows for.
    """

    change: float = 0.8
    steady_per_s: float = 1.0
    spread: float = 0.4
    rough: float = 1.0
    coming_s: float = CHANGE_S
    weakens_per_s: float = 0.0

    @property
    def spread_at_rest(self) -> float:
        """How far it may be from the usual one where a rest parts braking from pulling."""
        return 1.5 * max(self.spread, 0.5 * self.change)


#: As most athletes do on a rig of middling weight.
USUAL = Manner()


@dataclass(frozen=True)
class Sides:
    """Sides (r,), up to n edges each, the one next to the turnaround first.

    ``away_s`` (n, r): time from the first of them on; ``level_rad`` (n, r): angle, along the sense before the
    turnaround; ``sigma_rad`` (n, r); ``shown`` (n, r): 0 beyond a side's last edge, else 1. ``jerk_density`` and
    ``accel_rad_s2``, (r,): the jerk's density and the usual acceleration. ``rise_s`` (r,): out of a rest the
    acceleration comes evenly within this; 0: at once. ``change_s`` (r,): without one it changes within this along an S,
    as a muscle's force does; 0: it does not. ``change_rad_s2`` and ``steady_rad_s3`` (r,): standard deviations of that
    change, and of a jerk that lasts; ``weakens_per_s`` (r,): the pull does so with the speed, 0: it does not.
    """

    away_s: Array
    level_rad: Array
    sigma_rad: Array
    shown: Array
    jerk_density: Array
    accel_rad_s2: Array
    rise_s: Array
    change_s: Array
    change_rad_s2: Array
    steady_rad_s3: Array
    weakens_per_s: Array

    def part(self, which: slice | Integers) -> Sides:
        """Some of them."""
        return Sides(*[getattr(self, field.name)[..., which] for field in fields(self)])

    def beside(self, other: Sides) -> Sides:
        """These, then others with as many edges."""
        both = [(getattr(self, field.name), getattr(other, field.name)) for field in fields(self)]
        return Sides(*[np.concatenate(each, axis=-1) for each in both])

    def lower(self, by_rad: Array) -> Sides:
        """The same with angles that are less by so much, (r,)."""
        return replace(self, level_rad=self.level_rad - by_rad * self.shown)

    def table(self) -> Array:
        """All numbers, (columns, r)."""
        return np.vstack([getattr(self, field.name) for field in fields(self)])


def finer_grid(values: Array, cost: Array, count: int, beside: int = 1) -> Array:
    """A finer grid (r, count) around each row's best value, from so many values below it to as many above."""
    rows, at = np.arange(len(values)), cost.argmin(axis=1)
    low = values[rows, np.maximum(at - beside, 0)][:, None]
    high = values[rows, np.minimum(at + beside, values.shape[1] - 1)][:, None]
    grid: Array = low + (high - low) * np.linspace(0.0, 1.0, count)
    return grid
