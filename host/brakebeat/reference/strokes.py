"""Cuts the path of real edges into strokes (one sense each) and bouts (strokes without a rest between them)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.likelihood import Array

Integers = NDArray[np.int64]

# A wheel that has stood for less than this counts as having turned straight round: its own acceleration,
# known to a few percent, cannot tell the two apart any better.
SHORTEST_REST_S = 0.06
# Between edges of one sense a rest shows as a gap that dwarfs what the wheel needs at its usual acceleration.
_SAME_SENSE_REST = 4.0


@dataclass(frozen=True)
class Strokes:
    """Real edges cut where the sense changes or the wheel rests.

    ``t_s``, ``place``, ``sense`` (n,): real edges only. ``first`` (s + 1,): where each stroke starts, n at last.
    ``rested`` (s + 1,): whether the wheel rested before each stroke (True for the first, and after the last).
    """

    t_s: Array
    place: Integers
    sense: Integers
    first: Integers
    rested: NDArray[np.bool_]

    @property
    def count(self) -> int:
        """Number of strokes."""
        return len(self.first) - 1

    def edges(self, stroke: int) -> slice:
        """Where a stroke's edges lie."""
        return slice(int(self.first[stroke]), int(self.first[stroke + 1]))

    def bouts(self) -> list[tuple[int, int]]:
        """Runs of strokes (first, one past the last) without a rest in between."""
        starts = np.flatnonzero(self.rested[:-1])
        return list(zip(starts.tolist(), [*starts[1:].tolist(), self.count], strict=True))


def cut_strokes(
    t_s: Array, place: Integers, sense: Integers, spacing_rad: float, usual_accel: float
) -> Strokes:
    """Strokes of the real edges at ``t_s`` (n,), s, with their ``place`` and ``sense``."""
    turned = np.diff(sense) != 0
    longest = _SAME_SENSE_REST * np.sqrt(2.0 * spacing_rad / usual_accel) + 0.5
    stood = ~turned & (np.diff(t_s) > longest)
    first = np.concatenate([[0], np.flatnonzero(turned | stood) + 1, [len(t_s)]]).astype(np.int64)
    rested = np.ones(len(first), dtype=bool)
    for stroke in range(1, len(first) - 1):
        cut = int(first[stroke])
        if turned[cut - 1]:
            before = slice(max(int(first[stroke - 1]), cut - 6), cut)
            after = slice(cut, min(int(first[stroke + 1]), cut + 6))
            rested[stroke] = _rest_s(t_s[before], t_s[after], spacing_rad, place) > SHORTEST_REST_S
    return Strokes(t_s, place, sense, first, rested)


def _rest_s(before: Array, after: Array, spacing_rad: float, place: Integers) -> float:
    """How long the wheel stood between the last edges of one stroke and the first of the next, s."""
    stop = _vertex_s(before)
    go = _vertex_s(-after[::-1])
    gap = after[0] - before[-1]
    if stop is None or go is None:
        return 0.0 if gap < 1.0 else float(gap)
    return float(-go - stop)


def _vertex_s(t_s: Array) -> float | None:
    """When a wheel that slows down steadily would stand, from its last edges (a spacing apart each); None if unsure."""
    if len(t_s) < 3:
        return None
    count = min(len(t_s), 5)
    x = t_s[-count:] - t_s[-1]
    curve, slope, _ = np.polyfit(x, np.arange(count, dtype=float), 2)
    if curve >= 0.0 or slope <= 0.0:
        return None
    return float(t_s[-1] - slope / (2.0 * curve))
