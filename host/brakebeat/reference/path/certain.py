"""Edges that are magnets' beyond doubt: in the middle of even intervals. Only what lies between them needs a search."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.model.likelihood import Array, Scales

Integers = NDArray[np.int64]

# So many intervals before and after an edge must be even for it to be beyond doubt.
_AROUND = 4
# Neighbouring intervals are even within this ratio (its logarithm), and so many times the usual unevenness more. A
# missed or a stray edge changes them twofold, a turnaround nearly so.
_EVEN = 0.16
_UNEVEN, _MOST_EVEN = 4.0, 0.3
# A search begins so many edges before the first doubtful one, where the motion is even still.
_LEAD = 2


@dataclass(frozen=True)
class Windows:
    """Stretches of edges to be searched, (w,) each: from edge ``first`` to ``last``; both are beyond doubt themselves
    but at the recording's ends, where ``opens`` or ``closes`` is False. ``known``: so many intervals right before the
    first edge are from magnet to magnet."""

    first: Integers
    last: Integers
    opens: NDArray[np.bool_]
    closes: NDArray[np.bool_]
    known: Integers

    def some(self, which: Integers) -> Windows:
        """Those numbered so."""
        return Windows(
            self.first[which], self.last[which], self.opens[which], self.closes[which], self.known[which]
        )


def certain(t_s: Array, scales: Scales) -> NDArray[np.bool_]:
    """Which of the edges (n,) are beyond doubt."""
    sure = np.zeros(len(t_s), bool)
    if len(t_s) < 2 * _AROUND + 1:
        return sure
    gaps = np.maximum(np.diff(t_s), 1e-6)
    limit = min(_EVEN + _UNEVEN * scales.speed_noise, _MOST_EVEN)
    even = (np.abs(np.diff(np.log(gaps))) < limit).astype(np.int64)
    # The ratio numbered i is that of the intervals before and after edge i + 1.
    total = np.append(0, np.cumsum(even))
    wide = 2 * _AROUND - 1
    sure[_AROUND : len(t_s) - _AROUND] = total[wide:] - total[:-wide] == wide
    return sure


def windows(sure: NDArray[np.bool_]) -> Windows:
    """What lies between edges beyond doubt, with some of these at either end."""
    doubtful = ~sure
    for _ in range(_LEAD - 1):
        doubtful[:-1] |= doubtful[1:].copy()
        doubtful[1:] |= doubtful[:-1].copy()
    edge = np.diff(np.concatenate([[0], doubtful.view(np.int8), [0]]))
    first, last = np.flatnonzero(edge > 0) - 1, np.flatnonzero(edge < 0)
    opens, closes = first >= 0, last < len(sure)
    # An edge beyond doubt vouches for those around it.
    doubted = np.maximum.accumulate(np.where(sure, -1, np.arange(len(sure))))
    first = np.maximum(first, 0)
    known = np.where(opens, first - doubted[first] - 1 + _AROUND, 0)
    return Windows(first, np.minimum(last, len(sure) - 1), opens, closes, known)
