"""The board's clocks and pauses under one name on every port, CPython included.

Times read here are 30 bits wide everywhere: `ticks` compares microseconds, `ms_after` milliseconds.
"""

import asyncio
import time

from .ticks import HALF, MASK

if hasattr(time, "ticks_us"):
    _ticks_us = time.ticks_us
    _ticks_ms = time.ticks_ms
else:

    def _ticks_us():
        return time.monotonic_ns() // 1000  # type: ignore[attr-defined]

    def _ticks_ms():
        return time.monotonic_ns() // 1000000  # type: ignore[attr-defined]


if hasattr(asyncio, "sleep_ms"):
    sleep_ms = asyncio.sleep_ms
else:

    def sleep_ms(duration_ms):
        """Awaitable: let the other tasks run for that long."""
        return asyncio.sleep(duration_ms / 1000)


def now_us():
    # type: () -> int
    """Microseconds, 30 bits."""
    return _ticks_us() & MASK  # type: ignore[operator]


def now_ms():
    # type: () -> int
    """Milliseconds, 30 bits."""
    return _ticks_ms() & MASK  # type: ignore[operator]


def ms_after(later, earlier):
    # type: (int, int) -> int
    """Signed milliseconds from ``earlier`` to ``later`` (no more than 6 days apart)."""
    return ((later - earlier + HALF) & MASK) - HALF
