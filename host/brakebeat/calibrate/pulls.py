"""Slow pulls with pauses between them: how far the shaft turned in each, to a part of the magnets' spacing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.calibrate.tracking import steady
from brakebeat.errors import InputError

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

# Standard uncertainties of where between two magnets the shaft stood, as parts of their spacing: for a stop
# that was left again the same way, and for the first and the last. No better than that, since a hand starts
# and stops as it likes.
_BETWEEN_SIGMA, _END_SIGMA = 0.15, 0.22
# A movement of fewer edges than this says little of how it ended: anywhere between the two magnets.
_FEW_EDGES, _FEW_SIGMA = 6, 0.35
_CLEARLY_LONGER = 1.5


@dataclass(frozen=True)
class Stops:
    """Where the shaft stood: before the first pull, between pulls and after the last, (pulls + 1,) each.

    ``place``: counted in magnets from the first edge's 0. ``last_edge``: number of the edge before each stop
    (−1 before the first).
    """

    place: Array
    sigma: Array
    last_edge: Integers


def read_stops(t_s: Array, pulls: int, place: str) -> Stops:
    """The stops around ``pulls`` movements. Raises ``InputError`` with ``place`` in front where they are unclear."""
    kept = steady(t_s, dead=0.2)
    gaps = np.diff(t_s[kept])
    if len(kept) < 2 * pulls + 2:
        raise InputError(
            f"{place}: {len(kept)} edges are too few for {pulls} pulls: pull further each time, at least a turn"
        )
    order = np.sort(gaps)[::-1]
    if pulls > 1 and order[pulls - 2] < _CLEARLY_LONGER * order[pulls - 1]:
        raise InputError(
            f"{place}: {pulls} lengths are given, but {pulls - 1} pauses do not stand out: hold still for three "
            "seconds after each pull, and pull evenly"
        )
    pauses = np.sort(np.argsort(gaps)[::-1][: pulls - 1]) if pulls > 1 else np.zeros(0, int)
    first = np.concatenate([[0], pauses + 1]).astype(int)
    last = np.append(pauses, len(kept) - 1).astype(int)
    times = t_s[kept]
    lead = [overrun(times[begin : end + 1][::-1] * -1.0) for begin, end in zip(first, last, strict=True)]
    tail = [overrun(times[begin : end + 1]) for begin, end in zip(first, last, strict=True)]
    stops = [-min(lead[0], 1.0)]
    for number in range(pulls - 1):
        # Together the two make one spacing: the shaft stood between two neighbours.
        stops.append(float(last[number]) + tail[number] / (tail[number] + lead[number + 1]))
    stops.append(float(last[-1]) + min(tail[-1], 1.0))
    sigma = np.full(pulls + 1, _BETWEEN_SIGMA)
    sigma[[0, -1]] = _END_SIGMA
    few = last - first + 1 < _FEW_EDGES
    sigma[:-1][few] = sigma[1:][few] = _FEW_SIGMA
    return Stops(np.array(stops), sigma, np.append(-1, kept[last]))


def overrun(t_s: Array) -> float:
    """How far beyond its last edge a movement went, in spacings, from how it slowed down; 0.05 at least.

    The last two gaps' speeds to a power are drawn on as a straight line to 0. Even slowing asks for the power 2,
    a hand that moves with least jerk for 3/2 in the end and more before; 7/4 is off by a tenth for either.
    """
    gaps = np.diff(t_s)[-2:]
    if len(gaps) < 2:
        return 0.5
    falling = gaps**-1.75
    middle = np.arange(len(gaps)) - len(gaps) + 0.5
    slope, level = np.polyfit(middle, falling, 1)
    if slope >= 0.0:
        return 0.5
    return float(np.clip(-level / slope, 0.05, 1.5))
