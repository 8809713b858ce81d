"""The search for the best path through windows of edges, side by side: all of them take each step together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.model.likelihood import (
    BRAKED,
    LAWLESS_COST,
    PHASE_CHANGE_COST,
    PULLED,
    WAYS,
    Array,
    Faults,
    Glide,
    Scales,
    depart_cost,
    fresh_cost,
    glide_costs,
    turn_costs,
)
from brakebeat.reference.path.certain import Windows
from brakebeat.reference.path.moves import Moves

Integers = NDArray[np.int64]

BACK = 4  # a real edge follows one of the last four edges: at most three in a row are extras
STRIDES = 4  # at most three magnets in a row pass unseen
# Layout of an edge's states: gliding [back, stride, phase], turned [back, way], and a fresh start.
GLIDE = BACK * STRIDES * 2
TURN = BACK * len(WAYS)
STATES = GLIDE + TURN + 1
START = STATES - 1
_BACKS = np.arange(BACK)
_STRIDE = np.arange(1.0, STRIDES + 1.0)
_SENSE_COST = 6.0
# A pulled wheel should not turn before it was braked.
_UNBRAKED_COST = 8.0
# A start that edges before it lead to by no turnaround; a first start that is not the first edge.
_RESTART_COST = 10.0
_LATE_START_COST = 2.0
# So many even intervals before a window tell how the wheel moves into it, and whether it is pulled or braked.
_BEFORE, _LATELY = 24, 3


@dataclass(frozen=True)
class _Step:
    """Table rows (a,) of edges, one a window, and what leads to them from the ``BACK`` edges ``before`` (a, back):
    ``source`` (a, back, state) the costs there, with those of the edges between as faults; ``gap_s`` (a, back) to
    them, ``old_gap_s`` (a, back, back) from them to the edges before, with speeds ``old_rad_s`` for each stride.
    """

    rows: Integers
    before: Integers
    source: Array
    gap_s: Array
    old_rad_s: Array
    old_gap_s: Array


class Lanes:
    """Windows of edges, longest first, of a recording's edges ``t_s`` (n,) with ``step`` ±1 or 0.

    A table row is an edge of a window: window by window, edge by edge.
    """

    def __init__(
        self, t_s: Array, step: NDArray[np.int8], scales: Scales, faults: Faults, windows: Windows
    ) -> None:
        self.scales, self.faults, self.windows = scales, faults, windows
        self._length = windows.last - windows.first + 1
        self._offset = np.append(0, np.cumsum(self._length))
        rows = int(self._offset[-1])
        self.edge = np.repeat(windows.first - self._offset[:-1], self._length) + np.arange(rows)
        # How many edges of the same window come before each.
        self._place = np.arange(rows) - np.repeat(self._offset[:-1], self._length)
        self.t = t_s[self.edge]
        older = np.maximum(self.edge[:, None] - 1 - _BACKS, 0)
        self._gap = np.maximum(self.t[:, None] - t_s[older], 1e-6)
        # Whether the sense is known on both edges, and is then the other one (−1) or the same.
        self._senses = step[self.edge][:, None] * step[older]
        self._extras = self._extra_costs(t_s)
        self.cost = np.full((rows, STATES), np.inf)
        self.came = np.full(
            (rows, STATES), -1, dtype=np.int64
        )  # (back − 1)·STATES + state of the edge before
        self.accel = np.full((rows, TURN), scales.accel_rad_s2)
        self.tau = np.zeros((rows, TURN))
        self.glide_accel = np.zeros((rows, GLIDE))
        # The cheapest way to have been at rest since some edge: its cost, that edge (−1: from the first) and state.
        self._rest_cost = np.where(windows.opens, np.inf, 0.0)
        self._rest_since = np.full(len(self._length), -1)
        self._rest_state = np.full(len(self._length), START)
        self._open(t_s)

    def _extra_costs(self, t_s: Array) -> Array:
        """Cost (rows, BACK) of the edges between an edge and each of those before it, all extras."""
        costs = np.zeros((len(self.edge), BACK))
        for back in range(1, BACK):
            old = self.edge - 1 - back
            for extra in range(1, back + 1):
                age = t_s[self.edge - extra] - t_s[np.maximum(old, 0)]
                costs[:, back] += np.where(old >= 0, self.faults.extra_cost(np.maximum(age, 0.0)), 0.0)
        return costs

    def _open(self, t_s: Array) -> None:
        """Windows that begin in motion: either phase may be, as far as the speed before agrees."""
        which = np.flatnonzero(self.windows.opens)
        first, known = self.windows.first[which], self.windows.known[which]
        times = t_s[np.maximum(first[:, None] - np.arange(_BEFORE + 2), 0)]
        gaps = np.maximum(-np.diff(times, axis=1), 1e-6)
        speed = self.scales.spacing_rad / gaps
        between = 0.5 * (gaps[:, 1:] + gaps[:, :-1])
        glide = glide_costs(self.scales, speed[:, 1:], speed[:, :-1], np.zeros(1), between, gaps[:, :-1])
        told = np.arange(1, _BEFORE + 1) < known[:, None]
        # What the search itself would have learnt of the acceleration, which forgets as fast as noise allows.
        forgets = np.cumprod(1.0 - glide.gain, axis=1) / (1.0 - glide.gain) * glide.gain * told
        accel = (forgets * (speed[:, :-1] - speed[:, 1:]) / between).sum(axis=1) / forgets.sum(axis=1)
        least = np.minimum(glide.pulled, glide.braked)
        rows = self._offset[:-1][which]
        near = slice(0, _LATELY)
        self.cost[rows, PULLED] = np.minimum((glide.pulled - least)[:, near].sum(axis=1), PHASE_CHANGE_COST)
        self.cost[rows, BRAKED] = np.minimum((glide.braked - least)[:, near].sum(axis=1), LAWLESS_COST)
        self.glide_accel[rows, :2] = accel[:, None]

    def search(self) -> None:
        """Run forward over all edges."""
        active = len(self._length)
        for place in range(int(self._length[0])):
            while self._length[active - 1] <= place:
                active -= 1
            rows = self._offset[:active] + place
            self._start(rows, place)
            if place:
                self._arrive(rows)
            self._stay(rows, place)

    def _start(self, rows: Integers, place: int) -> None:
        """The cost of setting off from rest."""
        lanes = slice(0, len(rows))
        cost, since = self._rest_cost[lanes], self._rest_since[lanes]
        fresh = since < 0
        self.cost[rows, START] = cost + np.where(fresh, _LATE_START_COST * (place > 0), _RESTART_COST)
        came = (place - 1 - since) * STATES + self._rest_state[lanes]
        self.came[rows, START] = np.where(fresh, -1, came)

    def _stay(self, rows: Integers, place: int) -> None:
        """At rest beyond these edges: they were faults of the rest so far, or the last ones before a rest."""
        lanes = slice(0, len(rows))
        since = self._rest_since[lanes]
        age = self.t[rows] - self.t[self._offset[lanes] + np.maximum(since, 0)]
        cost = self._rest_cost[lanes] + self.faults.extra_cost(np.where(since >= 0, age, np.inf))
        stopped = self.cost[rows].argmin(axis=1)
        least = self.cost[rows, stopped]
        better = least < cost
        self._rest_cost[lanes] = np.where(better, least, cost)
        self._rest_since[lanes] = np.where(better, place, since)
        self._rest_state[lanes] = np.where(better, stopped, self._rest_state[lanes])

    def _arrive(self, rows: Integers) -> None:
        """Fill in the costs of every state of these edges (a,) from those of the ``BACK`` edges before."""
        before = rows[:, None] - 1 - _BACKS
        inside = self._place[rows][:, None] > _BACKS
        before = np.where(inside, before, rows[:, None] - 1)
        gap = self._gap[rows]
        source = self.cost[before] + np.where(inside, self._extras[rows], np.inf)[:, :, None]
        senses = self._senses[rows]
        old_gap = self._gap[before]
        old = self.scales.spacing_rad * _STRIDE / old_gap[..., None]
        step = _Step(rows, before, source, gap, old, old_gap)
        self._glide(step, _SENSE_COST * (senses < 0))
        self._turn(step, _SENSE_COST * (senses > 0))

    def _glide(self, step: _Step, sense: Array) -> None:
        """The cheapest way to glide to each edge, from whatever state of those before."""
        new = self.scales.spacing_rad * _STRIDE / step.gap_s[:, :, None]
        every, learnt = self._ways_to_glide(step, new)
        best = every.argmin(axis=3)[:, :, :, None]
        least = np.take_along_axis(every, best, 3)[:, :, :, 0]
        least += self.faults.missed_cost(_STRIDE) + sense[..., None]
        came = best[:, :, :, 0] + _BACKS[:, None] * STATES
        found = np.take_along_axis(np.broadcast_to(learnt, (2, *learnt.shape)), best, 3)[:, :, :, 0]
        for table, told in ((self.cost, least), (self.came, came), (self.glide_accel, found)):
            # Into the layout [edge, back, stride, phase].
            table[step.rows, :GLIDE] = np.moveaxis(told, 0, -1).reshape(len(step.rows), GLIDE)

    def _ways_to_glide(self, step: _Step, new: Array) -> tuple[Array, Array]:
        """Cost [phase, edge, back, state before, stride] of every way to glide at speeds ``new``, and the acceleration
        (the same without the phase) learnt on it."""
        count, gap, before = len(step.rows), step.gap_s, step.before
        every = np.empty((2, count, BACK, STATES, STRIDES))
        learnt = np.empty((count, BACK, STATES, STRIDES))
        glide = self._glides(step, new)
        prior = step.source[:, :, :GLIDE].reshape(count, BACK, BACK, STRIDES, 2, 1)
        to_pulled, to_braked = prior + glide.pulled, prior + glide.braked
        to_pulled[..., BRAKED, :] += LAWLESS_COST
        to_braked[..., PULLED, :] += PHASE_CHANGE_COST
        every[PULLED, :, :, :GLIDE] = to_pulled.reshape(count, BACK, GLIDE, STRIDES)
        every[BRAKED, :, :, :GLIDE] = to_braked.reshape(count, BACK, GLIDE, STRIDES)
        learnt[:, :, :GLIDE] = glide.accel_rad_s2.reshape(count, BACK, GLIDE, STRIDES)
        # From a turnaround, and from nothing: only a start in motion can be braked at once.
        tau = self.tau[before][..., None]
        turned = step.source[:, :, GLIDE : GLIDE + TURN, None] + depart_cost(
            self.scales, self.accel[before][..., None], tau, new[:, :, None, :], gap[..., None, None]
        )
        every[PULLED, :, :, GLIDE:START], every[BRAKED, :, :, GLIDE:START] = turned, turned + LAWLESS_COST
        learnt[:, :, GLIDE:START] = new[:, :, None, :] / (tau + gap[..., None, None] / 2.0)
        every[:, :, :, START] = step.source[:, :, START, None] + fresh_cost(self.scales, new, gap[..., None])
        learnt[:, :, START] = 0.0
        return every, learnt

    def _glides(self, step: _Step, new: Array) -> Glide:
        """From each way to have glided to an edge before on to these, [edge, back, back, stride, phase, stride]."""
        between = (step.gap_s[:, :, None] + step.old_gap_s)[..., None, None, None] / 2.0
        accel = self.glide_accel[step.before].reshape(len(step.rows), BACK, BACK, STRIDES, 2, 1)
        return glide_costs(
            self.scales,
            step.old_rad_s[..., None, None],
            new[:, :, None, None, None, :],
            accel,
            between,
            step.gap_s[:, :, None, None, None, None],
        )

    def _turn(self, step: _Step, sense: Array) -> None:
        """The cheapest way to turn between each edge and one before it, for each way of turning."""
        count, rows = len(step.rows), step.rows
        ways = turn_costs(
            self.scales, step.old_rad_s, step.old_gap_s[..., None], step.gap_s[:, :, None, None]
        )
        prior = step.source[:, :, :GLIDE].reshape(count, BACK, BACK, STRIDES, 2)
        lawful = np.minimum(prior[..., PULLED] + _UNBRAKED_COST, prior[..., BRAKED]).reshape(count, BACK, -1)
        phase = (prior[..., BRAKED] < prior[..., PULLED] + _UNBRAKED_COST).reshape(count, BACK, -1)
        for way, turn in enumerate(ways):
            every = lawful + turn.cost.reshape(count, BACK, -1)
            best = every.argmin(axis=2)[:, :, None]

            def told(values: NDArray[Any], best: Integers = best) -> NDArray[Any]:
                taken: NDArray[Any] = np.take_along_axis(values.reshape(count, BACK, -1), best, 2)[:, :, 0]
                return taken

            slots = np.arange(BACK) * len(WAYS) + way
            at = (rows[:, None], GLIDE + slots)
            self.cost[at] = told(every) + sense
            self.came[at] = _BACKS * STATES + 2 * best[:, :, 0] + told(phase)
            self.accel[rows[:, None], slots] = told(turn.accel_rad_s2)
            self.tau[rows[:, None], slots] = told(turn.tau_s)

    def describe(self, moves: Moves) -> None:
        """Write the best path of each window into a recording's moves: walk back along the cheapest way."""
        for lane in range(len(self._length)):
            start = int(self._offset[lane])
            row, opens = start + int(self._length[lane]) - 1, bool(self.windows.opens[lane])
            moves.real[self.edge[start + opens : row + 1]] = False
            if self.windows.closes[lane]:
                state = int(self.cost[row, :2].argmin())
            elif self._rest_since[lane] < 0:
                continue
            else:
                row, state = start + int(self._rest_since[lane]), int(self._rest_state[lane])
            while True:
                _write(moves, int(self.edge[row]), state)
                if self.came[row, state] < 0:
                    break
                # `back` counts from the edge before; where the state itself names its predecessor, they agree.
                back, state = divmod(int(self.came[row, state]), STATES)
                row -= 1 + back
                if opens and row == start:
                    break
            if not opens:
                # Nothing leads to a path's first edge.
                moves.stride[self.edge[row]], moves.turns[self.edge[row]] = 0, False


def _write(moves: Moves, edge: int, state: int) -> None:
    moves.real[edge] = True
    if state < GLIDE:
        moves.stride[edge], moves.turns[edge] = state // 2 % STRIDES + 1, False
    else:
        back = -WAYS[(state - GLIDE) % len(WAYS)] if state < START else 0
        moves.stride[edge], moves.turns[edge] = back, True
