"""A chain: strokes joined at their turnarounds into one course of the angle, rests cut out of its time.

In a chain's own time, which leaves rests out, angle and speed run on smoothly from stroke to stroke; places are
counted along the shaft over all of it, so that a magnet keeps its identity.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from brakebeat.reference.curve.strokes import EdgeRun
from brakebeat.reference.model.spline import Array, Grid, Integers
from brakebeat.reference.turnaround.side import RISE_S
from brakebeat.reference.turnaround.turns import Turning

STEP_S = 0.006
# Beyond the outermost edges the spline runs on for this long, so that it can reach standstill.
MARGIN_S = 0.6


@dataclass
class Chain:
    """Edges of one chain, arrays (n,).

    ``t_s`` in the chain's own time; ``place`` along the shaft; ``sense`` ±1. ``runs`` and, for each, its edges
    ``slices`` and the ``delay_s`` that leads back to the recording's time; ``turnings`` between them.
    ``ease`` (pieces,) weakens (< 1) or strengthens the jerk penalty, ``trust`` (n,) the edges. The spline goes on for
    ``margin_s`` beyond the outermost edges.
    """

    t_s: Array
    place: Integers
    sense: Integers
    runs: list[EdgeRun]
    slices: list[slice]
    delay_s: list[float]
    turnings: list[Turning]
    margin_s: float = MARGIN_S
    grid: Grid = field(init=False)
    first: Integers = field(init=False)
    rows: Array = field(init=False)
    slopes: Array = field(init=False)
    ease: Array = field(init=False)
    trust: Array = field(init=False)

    def __post_init__(self) -> None:
        first, last = float(self.t_s[0]), float(self.t_s[-1])
        self.grid = Grid.over(first - self.margin_s, last + self.margin_s, STEP_S)
        self.first, self.rows = self.grid.basis(self.t_s)
        self.slopes = self.grid.basis(self.t_s, 1)[1]
        self.ease = np.ones(self.grid.pieces)
        self.trust = np.ones(len(self.t_s))

    def at_edges(self, coefficients: Array, rows: Array) -> Array:
        """What ``rows`` (values or slopes) give at the edges."""
        value: Array = (coefficients[self.first[:, None] + np.arange(4)] * rows).sum(axis=1)
        return value

    def lag_s(self, run: int) -> float:
        """How much earlier than the spline has it the wheel really sets off at the start of ``run``: out of a
        rest the pull grows from nothing."""
        rested = run == 0 or self.turnings[run - 1].rest_s > 0.0
        return RISE_S / 2.0 if rested else 0.0

    def unseen(self, run: int) -> tuple[float, float]:
        """The chain's time between the last edge of ``run`` and the first of the next one."""
        cut = self.slices[run].stop
        return float(self.t_s[cut - 1]), float(self.t_s[cut])


def lone(run: EdgeRun) -> Chain:
    """A run by itself, of which nothing is asked beyond its edges."""
    return join_runs([run], [], margin_s=0.0)


def join_runs(runs: Sequence[EdgeRun], turnings: Sequence[Turning], margin_s: float = MARGIN_S) -> Chain:
    """A chain of runs with a turning between each and the next."""
    times, senses, delays = [], [], []
    places: list[Integers] = []
    slices: list[slice] = []
    base, delay, start = 0, 0.0, 0
    for number, run in enumerate(runs):
        if number:
            turning = turnings[number - 1]
            base = int(places[-1][-1]) - runs[number - 1].sense * turning.way
            # The spline starts out of a rest at full acceleration: half the rise later, it is there as well.
            delay += turning.rest_s + (RISE_S / 2.0 if turning.rest_s > 0.0 else 0.0)
        times.append(run.t_s - delay)
        places.append(base + run.sense * run.place)
        senses.append(np.full(len(run.t_s), run.sense, dtype=np.int64))
        slices.append(slice(start, start + len(run.t_s)))
        delays.append(delay)
        start += len(run.t_s)
    return Chain(
        np.concatenate(times),
        np.concatenate(places),
        np.concatenate(senses),
        list(runs),
        slices,
        delays,
        list(turnings),
        margin_s,
    )
