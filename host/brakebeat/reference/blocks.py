"""A long recording in blocks, cut at rests: each is worked out by itself, so that time and memory stay in bounds."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from brakebeat.reference.edges import EdgeTrain

# Turns of the wheel in a block at least: some hundred reps, enough to know magnets, scales and φ = 0 by.
BLOCK_TURNS = 1200
# A rest this long ends a set; the wheel need not be where it stood.
_REST_S = 8.0


def blocks(train: EdgeTrain) -> Iterator[EdgeTrain]:
    """The edges in order, in blocks; all at once where there is no rest to cut at, or too little to divide."""
    least = BLOCK_TURNS * train.per_rev
    start = 0
    for rest in (np.flatnonzero(np.diff(train.t_s) > _REST_S) + 1).tolist():
        if rest - start >= least and len(train.t_s) - rest >= least:
            yield train.part(slice(start, rest))
            start = rest
    yield train.part(slice(start, len(train.t_s)))
