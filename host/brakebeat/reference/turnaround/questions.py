"""How edges around a turnaround may be read otherwise: the turnaround elsewhere, an edge a fault, a magnet missed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.turnaround.reading import Nearby

_WAYS = (0, 1, -1, 2, -2)
_MOVES = (0, -1, 1)


def as_counted(near: Nearby) -> Iterator[tuple[Nearby, int]]:
    """Readings, each with its way back: what the edges' own count says; all that may be where they have none."""
    if near.way is None:
        yield from moved(near)
    else:
        yield near, near.way


def moved(near: Nearby, moves: tuple[int, ...] = _MOVES, stride: int = 1) -> Iterator[tuple[Nearby, int]]:
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


def questioned(near: Nearby) -> Iterator[tuple[Nearby, int]]:
    """One of the edges next to the turnaround taken as a fault, one taken as a fault put back, or one for the other; a
    magnet missed."""
    rows = np.flatnonzero(near.used)
    for place in range(max(near.split - 3, 1), min(near.split + 4, len(rows))):
        if place != near.split:
            yield from _stretched(near, int(rows[place]))
    yield from moved(near, (-1, 1), stride=2)
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
    """A fault put back as a magnet's: it parts the way to the next edge, which may be a magnet longer than was read."""
    used = near.used.copy()
    used[row] = True
    rows = np.flatnonzero(used)
    place = int(np.searchsorted(rows, row))
    whole = int(near.steps[rows[place + 1]]) if place + 1 < len(rows) else 1
    for first, second in _parts(whole):
        steps = near.steps.copy()
        steps[row] = first
        if place + 1 < len(rows):
            steps[rows[place + 1]] = second
        for split in (near.split, near.split + 1):
            if 2 <= split <= len(rows) - 2:
                for way in _WAYS[:3]:
                    yield near.but(used, steps, split), way


def _parts(whole: int) -> list[tuple[int, int]]:
    """A way of so many magnets, or one more, parted in two."""
    return [(first, total - first) for total in (whole, whole + 1) for first in range(1, total)]


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
