"""What goes wrong between a magnet passing and a time stamp in the recording."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from brakebeat.errors import InputError
from brakebeat.simulate.edges import Edges
from brakebeat.simulate.sensor import Sensor
from brakebeat.simulate.wheel import Number

_BOUNCE_FROM_US, _BOUNCE_UNTIL_US = 20.0, 800.0
_BOUNCES_MOST = 3
_SPURIOUS_MOST = 1e7

TRUE, BOUNCE, SPURIOUS = 0, 1, 2
KINDS: tuple[Literal["true", "bounce", "spurious"], ...] = ("true", "bounce", "spurious")


@dataclass(frozen=True)
class Clock:
    """The board's clock: µs = start + t·(1 + drift)."""

    start_us: float
    drift_ppm: float

    def us(self, t_s: Number) -> Number:
        """The clock's reading, µs, at a simulated time in s."""
        return self.start_us + t_s * 1e6 * (1.0 + self.drift_ppm * 1e-6)


@dataclass(frozen=True)
class Stamps:
    """Recorded edges in the recording's order, shape (n,) each.

    ``kind`` is TRUE, BOUNCE or SPURIOUS; ``source`` the index of the true edge behind it, −1 for none.
    """

    t_us: NDArray[np.int64]
    step: NDArray[np.int8]
    kind: NDArray[np.int8]
    source: NDArray[np.int64]


def stamp(
    edges: Edges, sensor: Sensor, clock: Clock, span_s: tuple[float, float], rng: np.random.Generator
) -> Stamps:
    """Time-stamp true edges as a board would: lose some, bounce some, invent some, jitter all.

    Args:
        span_s: the part of simulated time that is recorded.

    Raises InputError where more edges would come from nowhere than memory should hold.
    """
    expected = sensor.spurious_per_s * (span_s[1] - span_s[0])
    if expected > _SPURIOUS_MOST:
        raise InputError(
            f"spurious_per_s: {sensor.spurious_per_s:g} makes {expected:.0g} edges here; lower it"
        )
    kept = np.flatnonzero(_recorded(edges, sensor, span_s) & (rng.random(len(edges.t_s)) >= sensor.missed))
    t_us = clock.us(edges.t_s[kept]) + sensor.latency_us + rng.normal(0.0, 1.0, len(kept)) * sensor.jitter_us
    bounce_us, bounce_source = _bounces(t_us, kept, sensor.bounced, rng)
    spurious_us = clock.us(rng.uniform(*span_s, rng.poisson(expected)))
    times = np.concatenate([t_us, bounce_us, spurious_us])
    source = np.concatenate([kept, bounce_source, np.full(len(spurious_us), -1)])
    kind = np.repeat(
        np.array([TRUE, BOUNCE, SPURIOUS], np.int8), [len(t_us), len(bounce_us), len(spurious_us)]
    )
    # The counter shows whole microseconds, and a board cannot read a time before it was switched on.
    counts = np.maximum(np.floor(times), 0.0).astype(np.int64)
    order = np.argsort(counts, kind="stable")
    return Stamps(counts[order], _steps(edges, sensor, source, rng)[order], kind[order], source[order])


def _recorded(edges: Edges, sensor: Sensor, span_s: tuple[float, float]) -> NDArray[np.bool_]:
    there = (edges.t_s >= span_s[0]) & (edges.t_s <= span_s[1])
    for lost in sensor.lost:
        there &= ~((edges.mark == lost.magnet) & (edges.t_s >= lost.from_s) & (edges.t_s <= lost.until_s))
    return there


def _bounces(
    t_us: NDArray[np.float64], kept: NDArray[np.int64], probability: float, rng: np.random.Generator
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    bouncing = np.flatnonzero(rng.random(len(t_us)) < probability)
    how_often = rng.integers(1, _BOUNCES_MOST + 1, len(bouncing))
    parent = np.repeat(bouncing, how_often)
    return t_us[parent] + rng.uniform(_BOUNCE_FROM_US, _BOUNCE_UNTIL_US, len(parent)), kept[parent]


def _steps(
    edges: Edges, sensor: Sensor, source: NDArray[np.int64], rng: np.random.Generator
) -> NDArray[np.int8]:
    if sensor.kind == "magnets" and not sensor.gives_sense:
        return np.zeros(len(source), np.int8)
    guessed = rng.choice(np.array([-1, 1], np.int8), len(source))
    if not len(edges.sense):
        return guessed
    return np.where(source >= 0, edges.sense[source], guessed)
