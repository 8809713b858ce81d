"""The speed curve that a picture hangs on: where it is at a time, and when an angle has been turned."""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class TraceLike(Protocol):
    """What a picture needs of a trace: shape (n,) each, ``t_s`` rising, on the recording's clock."""

    @property
    def t_s(self) -> Array: ...

    @property
    def speed_rad_s(self) -> Array: ...


class Curve:
    """Speed without its sign against time, and the angle turned since any instant."""

    def __init__(self, trace: TraceLike) -> None:
        self.t_s = np.asarray(trace.t_s, dtype=float)
        self.speed_rad_s = np.abs(np.asarray(trace.speed_rad_s, dtype=float))
        steps = np.diff(self.t_s) * (self.speed_rad_s[1:] + self.speed_rad_s[:-1]) / 2
        self._turned_rad = np.concatenate([[0.0], np.cumsum(np.nan_to_num(steps))])

    def at(self, t_s: float) -> float:
        """Speed in rad/s at ``t_s``."""
        return float(np.interp(t_s, self.t_s, self.speed_rad_s))

    def piece(self, start_s: float, end_s: float) -> tuple[Array, Array]:
        """Times and speeds from ``start_s`` to ``end_s``, both ends included. Shapes (n,)."""
        inside = (self.t_s > start_s) & (self.t_s < end_s)
        t_s = np.concatenate([[start_s], self.t_s[inside], [end_s]])
        return t_s, np.interp(t_s, self.t_s, self.speed_rad_s)

    def when_turned(self, since_s: float, angle_rad: float) -> float:
        """When the shaft has turned by ``angle_rad`` since ``since_s`` (at the trace's end at the latest)."""
        target = np.interp(since_s, self.t_s, self._turned_rad) + angle_rad
        position = int(np.searchsorted(self._turned_rad, target))
        if position >= len(self.t_s):
            return float(self.t_s[-1])
        if position == 0:
            return float(self.t_s[0])
        low, high = self._turned_rad[position - 1], self._turned_rad[position]
        part = 0.0 if high == low else (target - low) / (high - low)
        return float(self.t_s[position - 1] + part * (self.t_s[position] - self.t_s[position - 1]))
