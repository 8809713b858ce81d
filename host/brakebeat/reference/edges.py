"""A recording's edges as the reference takes them: seconds from the first edge, dense encoders thinned."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.formats.recording import Recording
from brakebeat.reference.model.likelihood import Array

# More marks a turn than this add nothing that the wheel can do; the signed count places every one of the rest.
DENSE_PER_REV = 48
# So many edges are looked through at once: memory for all of a long recording would be many times its own.
_AT_ONCE = 1 << 18


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

    def part(self, rows: slice) -> EdgeTrain:
        """Some of the edges, their times still from the same origin."""
        count = None if self.count is None else self.count[rows]
        return EdgeTrain(self.t_s[rows], self.step[rows], self.per_rev, self.row[rows], self.origin_us, count)


def edge_train(recording: Recording) -> EdgeTrain:
    """The edges of a recording, thinned where the sensor is dense and gives the sense."""
    per_rev = recording.rig.pulses_per_rev
    t_us, step = recording.t_us, recording.step
    origin = int(t_us[0]) if len(t_us) else 0
    if per_rev <= DENSE_PER_REV or not len(step) or not np.all(step):
        row = np.arange(len(t_us), dtype=np.int64)
        return EdgeTrain(_seconds(t_us, origin), step, per_rev, row, origin)
    factor = max(d for d in range(1, per_rev // DENSE_PER_REV + 1) if per_rev % d == 0)
    kept, mark = _thinned(step, factor)
    return EdgeTrain(_seconds(t_us[kept], origin), step[kept], per_rev // factor, kept, origin, mark)


def _seconds(t_us: NDArray[np.int64], origin: int) -> Array:
    t_s: Array = (t_us - origin).astype(float)
    t_s *= 1e-6
    return t_s


def _thinned(step: NDArray[np.int8], factor: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The numbers of the edges at every k-th mark of an encoder, and these marks' own numbers: the same marks in
    either sense, so that each keeps its angle.

    The mark between counts c and c + 1 is passed by the step from either to the other.
    """
    rows, marks = [], []
    count = 0
    for start in range(0, len(step), _AT_ONCE):
        some = step[start : start + _AT_ONCE]
        mark = np.cumsum(some, dtype=np.int64)
        mark += count
        count = int(mark[-1])
        mark -= some > 0
        kept = np.flatnonzero(mark % factor == 0)
        rows.append(kept + start)
        marks.append(mark[kept] // factor)
    return np.concatenate(rows), np.concatenate(marks)
