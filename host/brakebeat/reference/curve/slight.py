"""Runs of a few edges amid a set that were no strokes: all that follows one is then read in the wrong sense."""

from __future__ import annotations

from brakebeat.reference.curve.strokes import EdgeRun, alternating

# Strays beside a pause pass for a run of no more edges than this, on no longer a way in spacings.
_MOST_EDGES = 3
_LONGEST_WAY = 3


def without_slight(runs: list[EdgeRun]) -> list[EdgeRun]:
    """The runs without the slight ones between two turnarounds, and so those behind in the other sense."""
    return alternating([run for at, run in enumerate(runs) if not _is_slight(runs, at)])


def _is_slight(runs: list[EdgeRun], at: int) -> bool:
    if not 0 < at < len(runs) - 1:
        return False
    run = runs[at]
    few = len(run.row) <= _MOST_EDGES and int(run.place[-1]) <= _LONGEST_WAY
    return bool(few and run.turned and runs[at + 1].turned)
