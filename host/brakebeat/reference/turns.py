"""What happened at each turnaround: which edges are real, which magnets were seen twice, did the wheel stand still.

All is settled by the likelihood of the edges on either side under the same spline model as the joint fit. A rest
is a stretch of time cut out of the record: without it angle, speed and sense run on smoothly through the vertex.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.reading import Model, Nearby, Reading, Verdict
from brakebeat.reference.readings import Readings

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


@dataclass(frozen=True)
class _Found:
    """The likeliest reading of a turnaround and by how much the next best one is worse."""

    reading: Reading
    verdict: Verdict
    clear: float

    @property
    def strange(self) -> bool:
        """Whether even the best reading leaves about as much misfit as noise explains: a right one leaves less, since
        the vertex adapts to it."""
        return self._misfits(_STRANGE)

    @property
    def odd(self) -> bool:
        """Whether the motion is rougher here than the model has it."""
        return self._misfits(_ODD)

    def _misfits(self, share: float) -> bool:
        return self.verdict.misfit >= share * float(self.reading.near.used.sum())

    def turning(self) -> Turning:
        """The verdict in full."""
        verdict, reading = self.verdict, self.reading
        return Turning(
            reading.way,
            verdict.rest_s,
            verdict.rest_sd_s,
            verdict.vertex_s,
            verdict.vertex_sd_s,
            reading.near,
            verdict.cost,
            self.clear,
        )


def resolve(
    models: Sequence[Model], nears: Sequence[Nearby], settled: Sequence[Turning | None]
) -> list[Turning]:
    """The likeliest reading of the edges around each turnaround.

    Args:
        settled: earlier verdicts for the same edges; one beyond question is only weighed anew.
    """
    found: dict[int, _Found] = {}
    sure = [at for at, earlier in enumerate(settled) if earlier is not None and earlier.clear > _SETTLED]
    again = [Reading(models[at], nears[at], _way(settled[at])) for at in sure]
    for at, reading, verdict in zip(sure, again, _judged(again), strict=True):
        weighed = _Found(reading, verdict, _clear(settled[at]))
        if not weighed.strange:
            found[at] = weighed
    left = [at for at in range(len(nears)) if at not in found]
    for at, best in zip(left, _likeliest([(models[at], nears[at]) for at in left]), strict=True):
        found[at] = best
    for rougher in _ROUGHER:
        # A brake that comes at the last moment jerks far more than the rest of the record.
        odd = [at for at in left if found[at].odd]
        cases = [(_roughened(models[at], rougher), nears[at]) for at in odd]
        for at, other in zip(odd, _likeliest(cases), strict=True):
            if other.verdict.cost < found[at].verdict.cost:
                found[at] = other
    return [found[at].turning() for at in range(len(nears))]


def _way(earlier: Turning | None) -> int:
    return 0 if earlier is None else earlier.way


def _clear(earlier: Turning | None) -> float:
    return 0.0 if earlier is None else earlier.clear


def _roughened(model: Model, factor: float) -> Model:
    noise = dataclasses.replace(model.noise, jerk_density=factor * model.noise.jerk_density)
    return dataclasses.replace(model, noise=noise)


def _judged(readings: list[Reading]) -> list[Verdict]:
    if not readings:
        return []
    verdicts = Readings(readings).judge(np.arange(len(readings)))
    return [verdicts[at] for at in range(len(readings))]


def _likeliest(cases: list[tuple[Model, Nearby]]) -> list[_Found]:
    """The best readings at given scales, those that call edges into question only where the others do not convince."""
    found = _best([[Reading(model, near, way) for near, way in _as_counted(case)] for model, case in cases])
    uncounted = [at for at, best in enumerate(found) if cases[at][1].way is not None and best.strange]
    moved = [[Reading(cases[at][0], near, way) for near, way in _moved(cases[at][1])] for at in uncounted]
    for at, best in zip(uncounted, _best(moved), strict=True):
        found[at] = best
    doubtful = [at for at, best in enumerate(found) if best.clear < _CLEAR or best.strange]
    asked = [[Reading(cases[at][0], near, way) for near, way in _questioned(cases[at][1])] for at in doubtful]
    doubtful = [at for at, readings in zip(doubtful, asked, strict=True) if readings]
    for at, other in zip(doubtful, _best([readings for readings in asked if readings]), strict=True):
        best = found[at]
        gain = best.verdict.cost - other.verdict.cost
        if gain > 0.0:
            found[at] = dataclasses.replace(other, clear=min(gain, other.clear))
        else:
            found[at] = dataclasses.replace(best, clear=min(-gain, best.clear))
    return found


def _best(cases: list[list[Reading]]) -> list[_Found]:
    """Of each case's readings the best, and how far behind the next best one is."""
    if not cases:
        return []
    readings = Readings([reading for case in cases for reading in case])
    guess = readings.guess()
    ends = np.cumsum([len(case) for case in cases])
    closer = []
    for case, end in zip(cases, ends, strict=True):
        start = int(end) - len(case)
        closer.append(start + np.argsort(guess[start:end], kind="stable")[:_CLOSER])
    verdicts = readings.judge(np.concatenate(closer))
    return [_first(readings, [(verdicts[at], at) for at in chosen.tolist()]) for chosen in closer]


def _first(readings: Readings, told: list[tuple[Verdict, int]]) -> _Found:
    told.sort(key=lambda each: each[0].cost)
    clear = told[1][0].cost - told[0][0].cost if len(told) > 1 else math.inf
    return _Found(readings.readings[told[0][1]], told[0][0], clear)


def _as_counted(near: Nearby) -> Iterator[tuple[Nearby, int]]:
    """What the edges' own count says; all that may be where they have none."""
    if near.way is None:
        yield from _moved(near)
    else:
        yield near, near.way


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
    """One of the edges next to the turnaround taken as a fault, one taken as a fault put back, or one for the other; a
    magnet missed."""
    rows = np.flatnonzero(near.used)
    for place in range(max(near.split - 3, 1), min(near.split + 4, len(rows))):
        if place != near.split:
            yield from _stretched(near, int(rows[place]))
    yield from _moved(near, (-1, 1), stride=2)
    for place in range(near.split - 2, near.split + 2):
        if 0 < place < len(rows) - 1:
            yield from _without(near, rows, place)
    low = near.t_s[rows[max(near.split - 3, 0)]]
    high = near.t_s[rows[min(near.split + 2, len(rows) - 1)]]
    for row in np.flatnonzero(~near.used):
        if low < near.t_s[row] < high:
            yield from _restored(near, int(row))
            yield from _swapped(near, rows, int(row))


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


def _swapped(near: Nearby, rows: NDArray[np.int64], row: int) -> Iterator[tuple[Nearby, int]]:
    """A fault put back in place of the edge before or after it, that one's magnet or, one missed, the next."""
    after = int(np.searchsorted(rows, row))
    for place in (after - 1, after):
        if 0 < place < len(rows) - 1:
            used = near.used.copy()
            used[rows[place]], used[row] = False, True
            for more in (0, 1) if place != near.split else (0,):
                steps = near.steps.copy()
                steps[row] = near.steps[rows[place]] + more
                for way in _WAYS[:3]:
                    yield near.but(used, steps, near.split), way
