"""Edges around a turnaround as they may be read, what is known beforehand, and the verdict on a reading."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Hashable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.model.likelihood import Faults
from brakebeat.reference.model.noise import Noise
from brakebeat.reference.model.spline import Array, Integers
from brakebeat.reference.turnaround.side import USUAL, Manner


@dataclass(frozen=True)
class Model:
    """What all turnarounds of a chain share.

    ``offsets_rad`` (magnets,) or empty; ``shift_rad`` with its prior spread; ``usual_accel_rad_s2`` scales how
    much the acceleration may change, as ``manner`` has it; ``faults``: how often the sensor errs.
    """

    spacing_rad: float
    noise: Noise
    usual_accel_rad_s2: float
    offsets_rad: Array = field(default_factory=lambda: np.zeros(0))
    shift_rad: float = 0.0
    shift_sd_rad: float = 0.02
    faults: Faults = field(default_factory=Faults)
    manner: Manner = USUAL

    @cached_property
    def unseen_cost(self) -> float:
        """−2·log chance of a pass that gives no edge."""
        return -2.0 * math.log(self.faults.miss_chance)

    @cached_property
    def nowhere_cost(self) -> float:
        """−2·log density, in 1/s, of an edge from nowhere."""
        return -2.0 * math.log(self.faults.spurious_per_s)


@dataclass(frozen=True)
class Nearby:
    """Edges around a turnaround (k,), those first read as faults among them.

    ``used``: read as real at first; ``steps`` (k,): spacings from the real edge before to each real one; ``split``
    of the used ones lie before the turnaround; ``base`` and ``sense``: the first one's magnet count and sense.
    ``distance_cost`` (magnets,): −2·log chance of each number of magnets, modulo theirs, from the first of these
    edges along the shaft to the last (None where that is not known from elsewhere). ``offset_rad`` (k,): each edge's
    offset along the shaft, as far as its own stroke tells; not used where the model has a table. ``way``: where the
    edges' own count tells it, how many spacings the first edge after the turnaround lies back from the last before.
    """

    t_s: Array
    used: NDArray[np.bool_]
    steps: Integers
    split: int
    base: int
    sense: int
    distance_cost: Array | None = None
    offset_rad: Array | None = None
    way: int | None = None

    def but(self, used: NDArray[np.bool_], steps: Integers, split: int) -> Nearby:
        """The same edges read otherwise."""
        return dataclasses.replace(self, used=used, steps=steps, split=split)


@dataclass(frozen=True)
class Verdict:
    """The best vertex of a reading: −2·log likelihood with prior odds, misfit, the rest and its doubt."""

    cost: float
    misfit: float
    vertex_s: float
    vertex_sd_s: float = 0.0
    rest_s: float = 0.0
    rest_sd_s: float = 0.0


@dataclass(frozen=True)
class Reading:
    """A way to read the edges ``near`` a turnaround.

    ``way``: how many spacings the first edge after the turnaround lies back from the last one before it;
    ``coming_s``: how long the pull takes to come where the wheel turns straight round, if not as in the model's manner.
    """

    model: Model
    near: Nearby
    way: int
    coming_s: float | None = None

    @property
    def change_s(self) -> float:
        """Time within which the acceleration changes behind the vertex."""
        return self.model.manner.coming_s if self.coming_s is None else self.coming_s

    @cached_property
    def key(self) -> Hashable:
        """What makes it another reading of the same edges: which are real, how far apart, where the wheel turned."""
        return self.edges, self.way

    @cached_property
    def edges(self) -> Hashable:
        """The same but for how far the wheel came back."""
        near = self.near
        steps = near.steps[near.used]
        # No steps lead to the first edge, and the way leads across the turnaround.
        steps[[0, near.split]] = 0
        return near.used.tobytes(), steps.tobytes(), near.split
