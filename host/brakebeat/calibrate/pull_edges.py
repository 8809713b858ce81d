"""Which edges of slow pulls are magnets', and where the pauses lie: the likeliest way through all edges.

A hand changes its speed smoothly, so a gap tells the next one to about a third; a pause is a long gap after which
the speed starts anew. Stray edges lie anywhere, a pause between two pulls is a good place to collect some.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

# Rates of edges from nowhere that are tried, 1/s, and minus the logarithm of a magnet's chance to pass unseen.
_STRAYS_PER_S = (0.003, 0.03, 0.3)
_MISSED = 4.6
# By how much the logarithm of a gap strays from that of the gap before it.
_UNSTEADY = 0.35
# The first gap of a pull may be anything within these, s; so may a pause.
_FIRST_GAP_S = (0.01, 3.0)
_PAUSE_S = (1.5, 60.0)
BOUNCE_S = 0.002
_SKIPPED_MOST = 8
# Strays alone can look like a short pull; one of so few edges would tell nothing anyway.
_FEWEST = 4
_KEPT_WAYS = 12


@dataclass(frozen=True)
class Pull:
    """One movement: numbers of its edges in the recording and their places from its first one's 0, (n,) each."""

    edge: Integers
    place: Integers


@dataclass(frozen=True)
class _Way:
    """A way up to ``edge``, the ``count``-th of its pull.

    ``gap_s`` a magnet, None for a pull's first edge; ``stride`` magnets since ``before``.
    """

    cost: float
    edge: int
    gap_s: float | None
    stride: int
    before: _Way | None
    count: int


def find_pulls(t_s: Array, pulls: int) -> list[Pull] | None:
    """The ``pulls`` movements in edges at ``t_s``, (n,), rising; None where there is no way to see so many."""
    kept = np.flatnonzero(np.append(True, np.diff(t_s) > BOUNCE_S))
    times = t_s[kept].tolist()
    best: _Way | None = None
    lowest = math.inf
    for rate in _STRAYS_PER_S:
        way = _likeliest(times, pulls, -math.log(rate))
        # That nothing else strayed in all the time counts, too.
        if way is not None and way.cost + rate * times[-1] < lowest:
            best, lowest = way, way.cost + rate * times[-1]
        if way is not None and rate == _STRAYS_PER_S[0] and _edges(way) == len(times):
            # No edge strays: no need to look for more.
            break
    return None if best is None else _spelled(best, kept)


def _edges(way: _Way) -> int:
    count = 0
    at: _Way | None = way
    while at is not None:
        count, at = count + 1, at.before
    return count


def _likeliest(times: list[float], pulls: int, stray: float) -> _Way | None:
    """Viterbi's walk over the edges; the number of pauses so far is part of the state. ``stray``: cost of one."""
    fronts: list[list[list[_Way]]] = [[[] for _ in range(pulls)] for _ in times]
    best: _Way | None = None
    for edge in range(len(times)):
        fronts[edge][0].append(_Way(edge * stray, edge, None, 0, None, 1))
        for paused in range(pulls):
            ways = sorted(fronts[edge][paused], key=lambda way: way.cost)[:_KEPT_WAYS]
            fronts[edge][paused] = ways
            for way in ways:
                for later in range(edge + 1, min(edge + 2 + _SKIPPED_MOST, len(times))):
                    skipped = way.cost + (later - edge - 1) * stray
                    gap = times[later] - times[edge]
                    fronts[later][paused].extend(_moved(way, later, gap, skipped))
                    if paused + 1 < pulls and way.count >= _FEWEST and _PAUSE_S[0] < gap < _PAUSE_S[1]:
                        cost = skipped + math.log(gap * math.log(_PAUSE_S[1] / _PAUSE_S[0]))
                        fronts[later][paused + 1].append(_Way(cost, later, None, 1, way, 1))
        for way in fronts[edge][pulls - 1]:
            ended = way.cost + (len(times) - 1 - edge) * stray
            if way.count >= _FEWEST and (best is None or ended < best.cost):
                best = dataclasses.replace(way, cost=ended)
        fronts[edge] = [[] for _ in range(pulls)]
    return best


def _moved(way: _Way, later: int, gap_s: float, skipped: float) -> Iterator[_Way]:
    """On to ``later`` within the same pull, one magnet further or two."""
    for stride in (1, 2):
        each = gap_s / stride
        cost = skipped + _MISSED * (stride - 1)
        if way.gap_s is None:
            if not _FIRST_GAP_S[0] < each < _FIRST_GAP_S[1]:
                continue
            cost += math.log(each * math.log(_FIRST_GAP_S[1] / _FIRST_GAP_S[0]))
        else:
            off = math.log(each / way.gap_s) / _UNSTEADY
            # Student's density of the gap's logarithm, as one of time: pulls start and stop, too.
            cost += 3.0 * math.log1p(off * off / 5.0) + math.log(_UNSTEADY * 2.6 * gap_s)
        yield _Way(cost, later, each, stride, way, way.count + 1)


def _spelled(way: _Way | None, kept: Integers) -> list[Pull]:
    """The pulls along a way that is known by its last edge."""
    edges: list[list[int]] = [[]]
    strides: list[list[int]] = [[]]
    while way is not None:
        edges[-1].append(int(kept[way.edge]))
        strides[-1].append(way.stride)
        if way.gap_s is None and way.before is not None:
            edges.append([])
            strides.append([])
        way = way.before
    found = []
    for numbers, steps in zip(reversed(edges), reversed(strides), strict=True):
        place = np.concatenate([[0], np.cumsum(steps[::-1][1:])]).astype(int)
        found.append(Pull(np.array(numbers[::-1]), place))
    return found
