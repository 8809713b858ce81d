"""Which edges are real, how many magnets lie between them, and where the wheel turned: one global best path.

A single-channel sensor gives bare times. The hidden path through them is found by dynamic programming
(Viterbi) over second-order states: the last two real edges, the magnets between them and whether the wheel is
pulled or braked; a turnaround is a state of its own, and so is a start from rest after any number of faults. See
``likelihood`` for the costs. Edges beyond doubt (``certain``) cut the recording into windows; each is searched by
itself, many of them at a time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.model.likelihood import Array, Faults, Scales
from brakebeat.reference.path.certain import certain, windows
from brakebeat.reference.path.lanes import Lanes
from brakebeat.reference.path.moves import Moves

Integers = NDArray[np.int64]

# So many windows are searched side by side: what a processor's fast memory holds.
_LANES = 96


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

    def path(self) -> Path:
        """Search every window; what lies between them goes on from magnet to magnet."""
        sure = certain(self.t, self.scales)
        cut = windows(sure)
        moves = Moves.even(len(self.t))
        # Windows of about the same length keep step with each other.
        order = np.argsort(cut.first - cut.last, kind="stable")
        for start in range(0, len(order), _LANES):
            own = cut.some(order[start : start + _LANES])
            lanes = Lanes(self.t, self.step, self.scales, self.faults, own)
            lanes.search()
            lanes.describe(moves)
        return self._described(moves)

    def _described(self, moves: Moves) -> Path:
        real = moves.real
        rows = np.flatnonzero(real)
        known = self.step[rows][self.step[rows] != 0]
        begun = int(known[0]) if len(known) else 1
        way = begun * np.cumprod(np.where(moves.turns[rows], -1, 1))
        way_before = np.append(begun, way[:-1])
        goes = moves.stride[rows] * way_before
        place, sense = np.zeros(len(self.t), np.int64), np.zeros(len(self.t), np.int64)
        place[rows], sense[rows] = np.cumsum(goes), way
        missed = int(np.maximum(moves.stride[rows][~moves.turns[rows]] - 1, 0).sum())
        return Path(real, place, sense, self._bounces(real), missed)

    def _bounces(self, real: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Extras that lie closer behind a real edge than a quarter of the gap to the next one, and below 10 ms."""
        last = np.maximum.accumulate(np.where(real, np.arange(len(real)), 0))
        age = self.t - self.t[last]
        return ~real & (age < 0.010)
