"""Which edges are real, how many magnets lie between them, and where the wheel turned: one global best path.

A single-channel sensor gives bare times. The hidden path through them is found by dynamic programming
(Viterbi) over second-order states: the last two real edges, the magnets between them and whether the wheel is
pulled or braked; a turnaround is a state of its own, and so is a start from rest after any number of faults. See
``likelihood`` for the costs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.likelihood import (
    BRAKED,
    LAWLESS_COST,
    PHASE_CHANGE_COST,
    PULLED,
    WAYS,
    Array,
    Faults,
    Scales,
    depart_cost,
    fresh_cost,
    glide_costs,
    turn_costs,
)

Integers = NDArray[np.int64]

BACK = 4  # a real edge follows one of the last four edges: at most three in a row are extras
STRIDES = 3  # at most two magnets in a row pass unseen
# Layout of an edge's states: gliding [back, stride, phase], turned [back, way], and a fresh start.
GLIDE = BACK * STRIDES * 2
TURN = BACK * len(WAYS)
STATES = GLIDE + TURN + 1
START = STATES - 1
_STRIDE = np.arange(1.0, STRIDES + 1.0)
_SENSE_COST = 6.0
# A start that edges before it lead to by no turnaround; a first start that is not the first edge.
_RESTART_COST = 10.0
_LATE_START_COST = 2.0


@dataclass(frozen=True)
class Path:
    """What became of each edge; arrays (n,).

    ``real``: a magnet's passage. ``place``: its magnet, counted along the shaft from the first real edge, falling
    while the wheel turns the other way (valid where real). ``sense``: +1 or −1. ``bounce``: an extra edge that
    followed a real one closely (an extra that is no bounce is spurious). ``missed``: magnets passed unseen.
    """

    real: NDArray[np.bool_]
    place: Integers
    sense: Integers
    bounce: NDArray[np.bool_]
    missed: int


class Decoder:
    """Best path through the edges at ``t_s`` (n,), s; ``step`` (n,) tells the sense or is 0."""

    def __init__(self, t_s: Array, step: NDArray[np.int8], scales: Scales, faults: Faults) -> None:
        self.t, self.step, self.scales, self.faults = t_s, step, scales, faults
        # The cheapest way to have been at rest since some edge: its cost, that edge (−1: from the first) and state.
        self._rest = (0.0, -1, START)
        n = len(t_s)
        self.cost = np.full((n, STATES), np.inf)
        self.came = np.full((n, STATES), -1, dtype=np.int64)  # (back − 1)·STATES + state of the edge before
        self.accel = np.full((n, TURN), scales.accel_rad_s2)
        self.tau = np.zeros((n, TURN))
        self.glide_accel = np.zeros((n, GLIDE))

    def path(self) -> Path:
        """Run forward over all edges, then walk back along the cheapest way."""
        for edge in range(len(self.t)):
            self._start(edge)
            if edge:
                self._arrive(edge)
            self._stay(edge)
        return self._walk_back()

    def _start(self, edge: int) -> None:
        """The cost of setting off from rest at ``edge``."""
        cost, since, state = self._rest
        if since < 0:
            self.cost[edge, START] = cost + _LATE_START_COST * (edge > 0)
            return
        self.cost[edge, START] = cost + _RESTART_COST
        self.came[edge, START] = (edge - 1 - since) * STATES + state

    def _stay(self, edge: int) -> None:
        """At rest beyond ``edge``: it was a fault of the rest so far, or the last one before a rest."""
        cost, since, state = self._rest
        age = self.t[edge] - self.t[since] if since >= 0 else np.inf
        cost += float(self.faults.extra_cost(np.asarray(age)))
        stopped = int(self.cost[edge].argmin())
        if self.cost[edge, stopped] < cost:
            cost, since, state = float(self.cost[edge, stopped]), edge, stopped
        self._rest = (cost, since, state)

    def _arrive(self, edge: int) -> None:
        """Fill in the costs of every state of ``edge`` from those of the ``BACK`` edges before."""
        before = np.arange(edge - 1, max(edge - 1 - BACK, -1), -1)
        gap = np.maximum(self.t[edge] - self.t[before], 1e-6)
        extras = np.array([self._extras(int(old), edge) for old in before])
        source = self.cost[before] + extras[:, None]
        flips = self.step[edge] * self.step[before] < 0
        keeps = self.step[edge] * self.step[before] > 0
        self._glide(edge, before, gap, source, _SENSE_COST * flips)
        self._turn(edge, before, gap, source, _SENSE_COST * keeps)

    def _extras(self, old: int, edge: int) -> float:
        if edge - old == 1:
            return 0.0
        return float(self.faults.extra_cost(self.t[old + 1 : edge] - self.t[old]).sum())

    def _glides_into(self, before: Integers) -> tuple[Array, Array]:
        """Speed and length of the gap that ends each state: (m, BACK, STRIDES) and (m, BACK)."""
        older = before[:, None] - 1 - np.arange(BACK)[None, :]
        gap = np.maximum(self.t[before][:, None] - self.t[np.maximum(older, 0)], 1e-6)
        return self.scales.spacing_rad * _STRIDE / gap[:, :, None], gap

    def _glide(self, edge: int, before: Integers, gap: Array, source: Array, sense: Array) -> None:
        m = len(before)
        old, old_gap = self._glides_into(before)
        new = self.scales.spacing_rad * _STRIDE[None, :] / gap[:, None]
        between = (gap[:, None] + old_gap)[:, :, None, None, None] / 2.0
        accel = self.glide_accel[before].reshape(m, BACK, STRIDES, 2, 1)
        glide = glide_costs(
            self.scales,
            old[..., None, None],
            new[:, None, None, None, :],
            accel,
            between,
            gap[:, None, None, None, None],
        )
        prior = source[:, :GLIDE].reshape(m, BACK, STRIDES, 2, 1)
        to_pulled, to_braked = prior + glide.pulled, prior + glide.braked
        to_pulled[:, :, :, BRAKED] += LAWLESS_COST
        to_braked[:, :, :, PULLED] += PHASE_CHANGE_COST
        # From a turnaround, and from nothing: only a start in motion can be braked at once.
        tau = self.tau[before][:, :, None]
        turned = source[:, GLIDE : GLIDE + TURN, None] + depart_cost(
            self.scales, self.accel[before][:, :, None], tau, new[:, None, :], gap[:, None, None]
        )
        fresh = (source[:, START, None] + fresh_cost(self.scales, new, gap[:, None]))[:, None, :]
        learnt = np.concatenate(
            [
                glide.accel_rad_s2.reshape(m, GLIDE, STRIDES),
                new[:, None, :] / (tau + gap[:, None, None] / 2.0),
                np.zeros((m, 1, STRIDES)),
            ],
            axis=1,
        )
        missed = self.faults.missed_cost(_STRIDE)
        for phase, moved in ((PULLED, to_pulled), (BRAKED, to_braked)):
            rows = [
                moved.reshape(m, GLIDE, STRIDES),
                turned + (0.0 if phase == PULLED else LAWLESS_COST),
                fresh,
            ]
            every = np.concatenate(rows, axis=1)
            best = every.argmin(axis=1)[:, None, :]
            slots = np.arange(m)[:, None] * STRIDES * 2 + np.arange(STRIDES)[None, :] * 2 + phase
            self.cost[edge, slots] = np.take_along_axis(every, best, 1)[:, 0] + missed + sense[:, None]
            self.came[edge, slots] = np.arange(m)[:, None] * STATES + best[:, 0]
            self.glide_accel[edge, slots] = np.take_along_axis(learnt, best, 1)[:, 0]

    def _turn(self, edge: int, before: Integers, gap: Array, source: Array, sense: Array) -> None:
        m = len(before)
        speed, old_gap = self._glides_into(before)
        ways = turn_costs(self.scales, speed, old_gap[:, :, None], gap[:, None, None])
        prior = source[:, :GLIDE].reshape(m, BACK, STRIDES, 2)
        lawless = np.array([8.0, 0.0])  # a pulled wheel should not turn before it was braked
        for way, turn in enumerate(ways):
            every = (prior + turn.cost[..., None] + lawless).reshape(m, GLIDE)
            best = every.argmin(axis=1)
            slots = np.arange(m) * len(WAYS) + way
            self.cost[edge, GLIDE + slots] = every[np.arange(m), best] + sense
            self.came[edge, GLIDE + slots] = np.arange(m) * STATES + best
            self.accel[edge, slots] = turn.accel_rad_s2.reshape(m, -1)[np.arange(m), best // 2]
            self.tau[edge, slots] = turn.tau_s.reshape(m, -1)[np.arange(m), best // 2]

    def _walk_back(self) -> Path:
        _, edge, state = self._rest
        if edge < 0:
            return self._described([])
        chain = [(edge, state)]
        while self.came[edge, state] >= 0:
            back, state = divmod(int(self.came[edge, state]), STATES)
            # `back` counts from the edge before; where the state itself names its predecessor, they agree.
            edge = edge - 1 - back
            chain.append((edge, state))
        return self._described(chain[::-1])

    def _described(self, chain: list[tuple[int, int]]) -> Path:
        n = len(self.t)
        real = np.zeros(n, dtype=bool)
        place = np.zeros(n, dtype=np.int64)
        sense = np.zeros(n, dtype=np.int64)
        where, way, missed = 0, 1, 0
        known = [int(self.step[edge]) for edge, _ in chain if self.step[edge]]
        if known:
            way = known[0]
        for position, (edge, state) in enumerate(chain):
            if position:
                if state < GLIDE:
                    stride = state // 2 % STRIDES + 1
                    where += way * stride
                    missed += stride - 1
                else:
                    if state < START:
                        where -= way * WAYS[(state - GLIDE) % len(WAYS)]
                    way = -way
            real[edge], place[edge], sense[edge] = True, where, way
        return Path(real, place, sense, self._bounces(real), missed)

    def _bounces(self, real: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Extras that lie closer behind a real edge than a quarter of the gap to the next one, and below 10 ms."""
        last = np.maximum.accumulate(np.where(real, np.arange(len(real)), 0))
        age = self.t - self.t[last]
        return ~real & (age < 0.010)
