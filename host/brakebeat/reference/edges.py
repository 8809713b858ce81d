"""A recording's edges as the reference takes them: seconds from the first edge, dense encoders thinned."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.formats.recording import Recording
from brakebeat.reference.likelihood import Array

# More marks a turn than this add nothing that the wheel can do; the signed count places every one of the rest.
DENSE_PER_REV = 48


@dataclass(frozen=True)
class EdgeTrain:
    """Edges ready for analysis.

    ``t_s`` (n,) seconds from ``origin_us``; ``step`` (n,) +1, −1 or 0; ``per_rev`` marks in a turn and
    ``spacing_rad`` between them; ``row`` (n,) each edge's number in the recording. ``count`` (n,) is the
    signed count at a dense encoder's edges, in marks, else None.
    """

    t_s: Array
    step: NDArray[np.int8]
    per_rev: int
    row: NDArray[np.int64]
    origin_us: int
    count: NDArray[np.int64] | None = None

    @property
    def spacing_rad(self) -> float:
        """Angle between neighbouring marks."""
        return 2.0 * np.pi / self.per_rev


def edge_train(recording: Recording) -> EdgeTrain:
    """The edges of a recording, thinned where the sensor is dense and gives the sense."""
    per_rev = recording.rig.pulses_per_rev
    t_us, step = recording.t_us, recording.step
    origin = int(t_us[0]) if len(t_us) else 0
    t_s = (t_us - origin).astype(float) * 1e-6
    row = np.arange(len(t_us), dtype=np.int64)
    if per_rev <= DENSE_PER_REV or not len(step) or not np.all(step != 0):
        return EdgeTrain(t_s, step, per_rev, row, origin)
    return _thinned(t_s, step, per_rev, origin)


def _thinned(t_s: Array, step: NDArray[np.int8], per_rev: int, origin: int) -> EdgeTrain:
    """Every k-th mark of an encoder: the same marks in either sense, so that each keeps its angle.

    The mark between counts c and c + 1 is passed by the step from either to the other.
    """
    factor = max(d for d in range(1, per_rev // DENSE_PER_REV + 1) if per_rev % d == 0)
    after = np.cumsum(step.astype(np.int64))
    mark = after - (step > 0)
    kept = np.flatnonzero(mark % factor == 0)
    return EdgeTrain(t_s[kept], step[kept], per_rev // factor, kept, origin, mark[kept] // factor)
