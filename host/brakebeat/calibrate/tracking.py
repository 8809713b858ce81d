"""Which magnet gave which edge, while the wheel turns one way and slows down.

A turn is compared with the turn before, magnet by magnet, so that no magnet's placement matters. Under
friction 1/turn² falls steadily (exactly linearly with the angle where friction does not depend on speed),
which says where the next edge must be; what is not there was missed, what is elsewhere is no magnet.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.errors import InputError

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

# An edge may be this part of a gap away from where it is expected.
_REACH = 0.28
# A gap is that of one, two or three magnets if it is this near to one.
_NEAR_STRIDE = 0.35
_MOST_STRIDE = 3
# From so many counts a turn on it is an encoder: its edges are as even as the lines of its disc, the four of a line
# apart. A line is compared with the line before then, since over a whole turn a wheel that nearly stands slows down by
# more than a gap.
FINE, _LINE = 48, 4


@dataclass(frozen=True)
class Track:
    """Edges of one run, slowing down: ``edge`` (n,) their numbers in the recording, ``place`` (n,) the magnets'
    places counted on from the first one's 0. ``whole``: the count was kept until the wheel stood nearly still.
    """

    edge: Integers
    place: Integers
    missed: int
    extra: int
    whole: bool


def steady(t_s: Array, dead: float = 0.3, width: int = 15) -> Integers:
    """Numbers of the edges that are no bounce: not closer behind the last one than ``dead`` usual gaps."""
    kept = np.arange(len(t_s))
    for _ in range(2):
        if len(kept) < 3:
            return kept
        usual = local_median(np.diff(t_s[kept]), width)
        limit = dead * np.interp(t_s, t_s[kept[1:]], usual)
        out: list[int] = []
        last = -np.inf
        for number, (time, least) in enumerate(zip(t_s.tolist(), limit.tolist(), strict=True)):
            if time - last > least:
                out.append(number)
                last = time
        kept = np.array(out)
    return kept


def local_median(values: Array, width: int) -> Array:
    """Running median over ``width`` neighbours, shorter at the ends."""
    width = min(width, len(values))
    if width < 2:
        return values
    windows = np.lib.stride_tricks.sliding_window_view(values, width)
    middle = np.median(windows, axis=1)
    lead = (width - 1) // 2
    return np.concatenate([np.full(lead, middle[0]), middle, np.full(width - 1 - lead, middle[-1])])


def track(t_s: Array, magnets: int, first: int, last: int) -> Track:
    """Follow the magnets from the first clean stretch after edge ``first`` up to edge ``last``.

    Args:
        t_s: all edge times, (n,), rising; between ``first`` and ``last`` the wheel slows down.

    Raises ``InputError`` where no stretch of edges is regular enough to begin with.
    """
    kept = steady(t_s[first : last + 1], width=max(9, 2 * magnets + 1)) + first
    numbers, places = _clean_start(t_s, kept, magnets)
    walker = _Walker(t_s, magnets if magnets < FINE else _LINE, last, numbers, places)
    walker.walk()
    return walker.result()


def _clean_start(t_s: Array, kept: Integers, magnets: int) -> tuple[list[int], list[int]]:
    """The first stretch of some two turns whose gaps are all whole numbers of magnets."""
    length = max(2 * magnets + 1, 7)
    gaps = np.diff(t_s[kept])
    usual = local_median(gaps, max(9, 2 * magnets + 1))
    stride = np.maximum(np.round(gaps / usual), 1.0)
    good = (np.abs(gaps / usual - stride) < _NEAR_STRIDE) & (stride <= _MOST_STRIDE)
    run = 0
    for at in range(len(gaps)):
        run = run + 1 if good[at] else 0
        if run and stride[at - run + 1 : at + 1].sum() >= length - 1:
            begin = at - run + 1
            places = np.concatenate([[0], np.cumsum(stride[begin : at + 1])]).astype(int)
            return kept[begin : at + 2].tolist(), places.tolist()
    raise InputError(
        f"no {length} edges follow one another regularly: spin the wheel faster and let it run free for ten "
        "turns or more; check the sensor's distance from the magnets, its wires and pulses_per_rev"
    )


def _robust_line(values: Array) -> tuple[float, float]:
    """Value at the last of evenly spaced points, and slope, of a line that a few wrong points do not move."""
    x = np.arange(1 - len(values), 1.0)
    if len(x) < 4:
        return float(values[-1]), 0.0
    weight = np.ones(len(x))
    level = slope = 0.0
    for _ in range(4):
        total, sx = weight.sum(), weight @ x
        sxx, sy, sxy = weight @ (x * x), weight @ values, weight @ (x * values)
        slope = (total * sxy - sx * sy) / (total * sxx - sx * sx)
        level = (sy - slope * sx) / total
        off = np.abs(values - level - slope * x)
        usual = float(np.median(off)) + 1e-15
        weight = 1.0 / (1.0 + (off / (3.0 * usual)) ** 2) ** 2
    return float(level), float(slope)


class _Walker:
    """Goes from place to place and looks for the edge that belongs there."""

    def __init__(self, t_s: Array, magnets: int, last: int, numbers: list[int], places: list[int]) -> None:
        self._t, self._magnets, self._last = t_s, magnets, last
        self._edge = dict(zip(places, numbers, strict=True))
        self._time: list[float] = []
        known = np.array(places)
        self._time = np.interp(np.arange(known[-1] + 1), known, t_s[numbers]).tolist()
        self._begun = len(self._time)
        self._whole = False
        self._missed_in_a_row = 0

    def walk(self) -> None:
        reach_back = max(2 * self._magnets, 10)
        while True:
            expected, gap = self._expect(reach_back)
            if gap is None:
                self._whole = True
                return
            if expected - _REACH * gap > self._t[self._last]:
                self._whole = True
                return
            number = self._nearest(expected, _REACH * gap)
            if number is None:
                self._missed_in_a_row += 1
                if self._missed_in_a_row > max(3, self._magnets):
                    self._drop_tail()
                    return
                self._time.append(expected)
                continue
            self._missed_in_a_row = 0
            self._edge[len(self._time)] = number
            self._time.append(float(self._t[number]))

    def _expect(self, reach_back: int) -> tuple[float, float | None]:
        """When the next place should pass, and the gap before it; no gap where the wheel stops before."""
        m = self._magnets
        times = np.array(self._time[-(reach_back + m) :])
        turns = times[m:] - times[:-m]
        inverse = 1.0 / turns**2
        level, slope = _robust_line(inverse)
        ahead = level + slope
        if ahead <= 0.15 * abs(slope) * m or ahead <= 0.0:
            return 0.0, None
        turn = ahead**-0.5
        expected = self._time[len(self._time) - m] + turn
        gap = max(expected - self._time[-1], 0.3 * turn / m)
        return expected, min(gap, 2.0 * turn / m)

    def _nearest(self, expected: float, reach: float) -> int | None:
        after = int(np.searchsorted(self._t, expected))
        best, distance = None, reach
        for number in (after - 1, after):
            if 0 <= number <= self._last and abs(self._t[number] - expected) < distance:
                best, distance = number, abs(float(self._t[number]) - expected)
        # A bounce follows its edge: the first of a burst is the magnet's.
        while (
            best and expected - self._t[best - 1] < reach and self._t[best] - self._t[best - 1] < 0.05 * reach
        ):
            best -= 1
        return best

    def _drop_tail(self) -> None:
        del self._time[len(self._time) - self._missed_in_a_row + 1 :]

    def result(self) -> Track:
        places = np.array(sorted(self._edge))
        edges = np.array([self._edge[place] for place in places.tolist()])
        within = edges[-1] - edges[0] + 1
        missed = int(places[-1] - places[0] + 1 - len(places))
        return Track(edges, places, missed, int(within - len(edges)), self._whole)
