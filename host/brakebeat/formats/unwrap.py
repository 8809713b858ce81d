"""Undoes the wrapping of the board's counter, and finds times that cannot be."""

from __future__ import annotations

import numpy as np

from brakebeat.formats.edge_text import Fault, Times
from brakebeat.formats.rig_model import LARGEST_TIME_US


class Unwrapper:
    """Carries the count of wraps from block to block. ``modulus`` in microseconds, None for no wrap."""

    def __init__(self, modulus: int | None) -> None:
        # Times end at 2^53, so a bigger modulus is never seen to wrap (and would not fit an int64).
        self._modulus = modulus if modulus is not None and modulus <= 2 * LARGEST_TIME_US else None
        self._stated = modulus
        self._wraps = 0
        self._last: int | None = None

    def unwrap(self, raw: Times) -> tuple[Times, Fault | None]:
        """Unwrapped times of ``raw`` (n,) as written, up to the first fault if there is one."""
        if raw.size == 0:
            return raw, None
        fault = self._first_fault(raw)
        good = raw if fault is None else raw[: fault.row]
        if self._modulus is None or good.size == 0:
            unwrapped = good
        else:
            wraps = self._wraps + np.cumsum(self._rises(good) * -2 > self._modulus)
            if int(wraps[-1]) * self._modulus > LARGEST_TIME_US:
                row = int(np.argmax(wraps > LARGEST_TIME_US // self._modulus))
                return good[:0], Fault(
                    row, "the counter has wrapped beyond any clock (2^53 us); is ticks_wrap right?"
                )
            unwrapped = good + wraps * self._modulus
            self._wraps = int(wraps[-1])
        if good.size:
            self._last = int(good[-1])
        return unwrapped, fault

    def _rises(self, raw: Times) -> Times:
        return np.diff(raw, prepend=raw[0] if self._last is None else self._last)

    def _first_fault(self, raw: Times) -> Fault | None:
        outside = raw > LARGEST_TIME_US if self._modulus is None else raw >= self._modulus
        outside |= raw < 0
        rises = self._rises(raw)
        backwards = rises < 0
        if self._modulus is not None:
            backwards &= rises * -2 <= self._modulus
        bad = outside | backwards
        if not bad.any():
            return None
        row = int(np.argmax(bad))
        time = int(raw[row])
        if not outside[row]:
            return Fault(row, self._backwards(time, -int(rises[row])))
        if self._modulus is None:
            return Fault(row, f"time {time} is not from 0 to 2^53 us; is the line damaged?")
        return Fault(
            row, f"time {time} is not below ticks_wrap ({self._modulus}); correct ticks_wrap or the line"
        )

    def _backwards(self, time: int, fall: int) -> str:
        if self._stated is None:
            return (
                f"time {time} runs backwards by {fall} us; if the board's counter wraps, add "
                "`# ticks_wrap: 1073741824` (or its own modulus) to the header"
            )
        return (
            f"time {time} runs backwards by {fall} us, which is no wrap (not more than half of ticks_wrap "
            f"{self._stated}); edges are out of order, record again"
        )
