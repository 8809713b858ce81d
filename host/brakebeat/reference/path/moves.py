"""How each edge of a recording is reached from the one before, on the best path through all of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Integers = NDArray[np.int64]


@dataclass(frozen=True)
class Moves:
    """How each edge (n,) is reached: whether at all, over how many spacings along the sense before, by a turn."""

    real: NDArray[np.bool_]
    stride: Integers
    turns: NDArray[np.bool_]

    @classmethod
    def even(cls, count: int) -> Moves:
        """From magnet to magnet."""
        stride = np.ones(count, np.int64)
        stride[:1] = 0
        return cls(np.ones(count, bool), stride, np.zeros(count, bool))
