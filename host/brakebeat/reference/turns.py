"""What happened at each turnaround: which edges are real, which magnets were seen twice, did the wheel stand still.

All is settled by the likelihood of the edges on either side under the same spline model as the joint fit. A rest
is a stretch of time cut out of the record: without it angle, speed and sense run on smoothly through the vertex.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.reading import Model, Nearby, Reading, Verdict

# Real edges looked at on either side: beyond them nothing depends on the turnaround.
NEAR = 7
_WAYS = (0, 1, -1, 2, -2)
_MOVES = (0, -1, 1)
# A reading this much better than the next and without a bad misfit is not called into question.
_CLEAR = 25.0
_SETTLED = 60.0
_STRANGE = 0.7
# So much misfit for each edge says that the motion is rougher here than elsewhere, by a factor.
_ODD = 3.0
_ROUGHER = (30.0, 1000.0)
# So many readings that look best at a glance are weighed exactly.
_CLOSER = 5


@dataclass(frozen=True)
class Turning:
    """A verdict on a turnaround.

    ``way``: spacings that the first edge after it lies back from the last before. ``rest_s`` with its doubt;
    ``vertex_s``: when the wheel stands, on the edges' clock. ``near`` tells which edges are real, how they
    are spaced, how many lie before. ``clear``: by how much −2·log likelihood the next best reading is worse.
    """

    way: int
    rest_s: float
    rest_sd_s: float
    vertex_s: float
    vertex_sd_s: float
    near: Nearby
    cost: float
    clear: float


def resolve(model: Model, near: Nearby, settled: Turning | None = None) -> Turning:
    """The likeliest reading of the edges around a turnaround.

    Args:
        settled: an earlier verdict for the same edges; one beyond question is only weighed anew.
    """
    if settled is not None and settled.clear > _SETTLED:
        reading = Reading(model, near, settled.way)
        verdict = reading.judge()
        if not _strange(reading, verdict):
            return _turning(reading, verdict, settled.clear)
    best, clear = _likeliest(model, near)
    for rougher in _ROUGHER:
        # A brake that comes at the last moment jerks far more than the rest of the record.
        if best[1].misfit < _ODD * best[0].edges:
            break
        noise = dataclasses.replace(model.noise, jerk_density=rougher * model.noise.jerk_density)
        other, other_clear = _likeliest(dataclasses.replace(model, noise=noise), near)
        if other[1].cost < best[1].cost:
            best, clear = other, other_clear
    return _turning(*best, clear)


def _likeliest(model: Model, near: Nearby) -> tuple[tuple[Reading, Verdict], float]:
    """The best reading at given scales, those that call edges into question only where the others do not convince."""
    best, clear = _best(model, list(_moved(near)))
    if clear < _CLEAR or _strange(*best):
        questioned = list(_questioned(near))
        if questioned:
            other, other_clear = _best(model, questioned)
            gain = best[1].cost - other[1].cost
            best, clear = (other, min(gain, other_clear)) if gain > 0.0 else (best, min(-gain, clear))
    return best, clear


def _turning(reading: Reading, verdict: Verdict, clear: float) -> Turning:
    return Turning(
        reading.way,
        verdict.rest_s,
        verdict.rest_sd_s,
        verdict.vertex_s,
        verdict.vertex_sd_s,
        reading.near,
        verdict.cost,
        clear,
    )


def _best(model: Model, readings: list[tuple[Nearby, int]]) -> tuple[tuple[Reading, Verdict], float]:
    """The best of some readings, and how far behind the next best one is."""
    tried = sorted((Reading(model, near, way) for near, way in readings), key=Reading.guess)
    found = [(reading, reading.judge()) for reading in tried[:_CLOSER]]
    found.sort(key=lambda each: each[1].cost)
    clear = found[1][1].cost - found[0][1].cost if len(found) > 1 else math.inf
    return found[0], clear


def _strange(reading: Reading, verdict: Verdict) -> bool:
    """Whether even the best reading leaves about as much misfit as noise explains: a right one leaves less, since
    the vertex adapts to it."""
    return verdict.misfit > _STRANGE * reading.edges


def _moved(near: Nearby, moves: tuple[int, ...] = _MOVES, stride: int = 1) -> Iterator[tuple[Nearby, int]]:
    """The edges as first read, the turnaround where it was read or an edge earlier or later."""
    count = int(near.used.sum())
    for move in moves:
        split = near.split + move
        if move == 0 or 2 <= split <= count - 2:
            steps = near.steps
            if move:
                # Steps across the first reading's turnaround are not known: a moved edge makes ``stride`` there.
                steps = near.steps.copy()
                steps[np.flatnonzero(near.used)[near.split]] = stride
            for way in _WAYS if move == 0 else _WAYS[:3]:
                yield near.but(near.used, steps, split), way


def _questioned(near: Nearby) -> Iterator[tuple[Nearby, int]]:
    """One of the edges next to the turnaround taken as a fault, one taken as a fault put back, a magnet missed."""
    rows = np.flatnonzero(near.used)
    for place in range(max(near.split - 3, 1), min(near.split + 4, len(rows))):
        if place != near.split:
            yield from _stretched(near, int(rows[place]))
    yield from _moved(near, (-1, 1), stride=2)
    for place in range(near.split - 2, near.split + 2):
        if 0 < place < len(rows) - 1:
            yield from _without(near, rows, place)
    low, high = near.t_s[rows[max(near.split - 2, 0)]], near.t_s[rows[min(near.split + 1, len(rows) - 1)]]
    for row in np.flatnonzero(~near.used):
        if low < near.t_s[row] < high:
            yield from _restored(near, int(row))


def _stretched(near: Nearby, row: int) -> Iterator[tuple[Nearby, int]]:
    for more in (1, -1):
        if near.steps[row] + more >= 1:
            steps = near.steps.copy()
            steps[row] += more
            for way in _WAYS[:3]:
                yield near.but(near.used, steps, near.split), way


def _without(near: Nearby, rows: NDArray[np.int64], place: int) -> Iterator[tuple[Nearby, int]]:
    used = near.used.copy()
    used[rows[place]] = False
    after = rows[place + 1]
    for stride in sorted({1, int(near.steps[rows[place]] + near.steps[after])}):
        steps = near.steps.copy()
        steps[after] = stride
        split = near.split - (place < near.split)
        for move in (0, -1, 1):
            if 2 <= split + move <= len(rows) - 3:
                for way in _WAYS[:3]:
                    yield near.but(used, steps, split + move), way


def _restored(near: Nearby, row: int) -> Iterator[tuple[Nearby, int]]:
    used = near.used.copy()
    used[row] = True
    steps = near.steps.copy()
    rows = np.flatnonzero(used)
    place = int(np.searchsorted(rows, row))
    steps[row] = 1
    if place + 1 < len(rows):
        steps[rows[place + 1]] = 1
    for split in (near.split, near.split + 1):
        if 2 <= split <= len(rows) - 2:
            for way in _WAYS[:3]:
                yield near.but(used, steps, split), way
