"""Which rep of the firmware is which rep of the reference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components


class Span(Protocol):
    """Anything that lasts from ``start_us`` to ``end_us``."""

    @property
    def start_us(self) -> int: ...

    @property
    def end_us(self) -> int: ...


@dataclass(frozen=True)
class Matching:
    """``pairs`` of positions (firmware, reference) in order of time, and the positions that stayed alone."""

    pairs: list[tuple[int, int]]
    only_firmware: list[int]
    only_reference: list[int]


def match(firmware: Sequence[Span], reference: Sequence[Span], min_overlap: float = 0.5) -> Matching:
    """Pair the reps of both engines one to one, so that the time they share is greatest in total.

    Two reps may be a pair where the time they share is more than ``min_overlap`` (0 to 1) of the time from
    the earlier start to the later end. From one half up no rep fits two neighbours: halves of a rep that one
    engine cut in two, or two that it ran together, find no partner and count as found by one engine only.
    """
    candidates = _candidates(firmware, reference, min_overlap)
    pairs = sorted(_assign(candidates, len(firmware), len(reference)), key=lambda pair: pair[1])
    left, right = {i for i, _ in pairs}, {j for _, j in pairs}
    return Matching(
        pairs=pairs,
        only_firmware=[i for i in range(len(firmware)) if i not in left],
        only_reference=[j for j in range(len(reference)) if j not in right],
    )


def _candidates(
    firmware: Sequence[Span], reference: Sequence[Span], min_overlap: float
) -> list[tuple[int, int, int]]:
    """(firmware, reference, shared µs) of every pair that may be one, found in one sweep along the time."""
    waiting = sorted(range(len(reference)), key=lambda j: reference[j].start_us)
    # Reps hardly ever overlap their neighbours, so the open ones are few and the sweep is linear in practice.
    open_reps: list[int] = []
    found: list[tuple[int, int, int]] = []
    position = 0
    for i in sorted(range(len(firmware)), key=lambda i: firmware[i].start_us):
        rep = firmware[i]
        while position < len(waiting) and reference[waiting[position]].start_us < rep.end_us:
            open_reps.append(waiting[position])
            position += 1
        open_reps = [j for j in open_reps if reference[j].end_us > rep.start_us]
        for j in open_reps:
            other = reference[j]
            shared = min(rep.end_us, other.end_us) - max(rep.start_us, other.start_us)
            whole = max(rep.end_us, other.end_us) - min(rep.start_us, other.start_us)
            if shared > 0 and shared > min_overlap * whole:
                found.append((i, j, shared))
    return found


def _assign(
    candidates: list[tuple[int, int, int]], firmware_count: int, reference_count: int
) -> list[tuple[int, int]]:
    """The one-to-one choice with the greatest total, solved in each group of reps that compete."""
    if not candidates:
        return []
    rows, columns, shared = (np.asarray(part) for part in zip(*candidates, strict=True))
    size = firmware_count + reference_count
    graph = coo_array((np.ones(len(rows)), (rows, columns + firmware_count)), shape=(size, size))
    group = connected_components(graph, directed=False)[1][rows]
    pairs: list[tuple[int, int]] = []
    for members in np.split(np.argsort(group, kind="stable"), np.flatnonzero(np.diff(np.sort(group))) + 1):
        pairs.extend(_assign_group(rows[members], columns[members], shared[members]))
    return pairs


def _assign_group(rows: np.ndarray, columns: np.ndarray, shared: np.ndarray) -> list[tuple[int, int]]:
    left, row = np.unique(rows, return_inverse=True)
    right, column = np.unique(columns, return_inverse=True)
    gain = np.zeros((len(left), len(right)))
    gain[row, column] = shared
    # A choice of gain 0 is a pair that may not be one: it only fills the rectangle up.
    chosen = zip(*linear_sum_assignment(gain, maximize=True), strict=True)
    return [(int(left[r]), int(right[c])) for r, c in chosen if gain[r, c] > 0]
