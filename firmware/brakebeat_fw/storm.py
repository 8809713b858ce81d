"""Tells an interrupt storm: edges faster than any wheel, for so long that no chatter of a switch explains them.

A loose plug or a floating pin gives 100,000 edges a second. Each would be looked at as if a wheel had made it, which
takes a small board minutes for a second of noise; so they are left out, and counted as lost.
"""

from micropython import const

from .ticks import after

# A switch that chatters gives a handful.
_LEAST = const(32)


class Storm:
    """gap_us: edges that come closer than that on average, ever so many in a row, are no wheel's."""

    def __init__(self, gap_us):
        # type: (int) -> None
        self._gap_us = gap_us
        self._last = 0
        self._raging = False

    def takes(self, times, count):
        # type: (Any, int) -> bool
        """Whether these ``count`` edges (30-bit ticks, the next ones of all) are a storm's. Allocates nothing."""
        newest = times[count - 1]
        most_us = count * self._gap_us
        # Once it rages a few are enough; an edge after a pause ends it.
        raging = self._raging and 0 <= after(newest, self._last) < most_us
        self._raging = raging or (count >= _LEAST and 0 <= after(newest, times[0]) < most_us)
        self._last = newest
        return self._raging
