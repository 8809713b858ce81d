"""Cuts the path of real edges into strokes: runs in one sense without a rest."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from brakebeat.reference.model.likelihood import Array, Scales
from brakebeat.reference.model.spline import Integers
from brakebeat.reference.path.clean import Path
from brakebeat.reference.turnaround.reading import Nearby

# A gap within one sense that dwarfs what the wheel needs at its usual acceleration is a rest.
_REST_FACTOR = 4.0
_REST_S = 0.5
# One or two edges next to a rest are faults of the sensor that the path took for a turnaround; before the first
# rep and after the last one so are a few more.
_STRAY_EDGES = 2
_STRAY_EDGES_OUTSIDE = 4


@dataclass(frozen=True)
class EdgeRun:
    """A stroke's real edges (n,): times, places counted from its first edge along the turning, sense (±1).

    ``row`` is each edge's number among the edges given. ``turned`` is False where the wheel only rested since
    the run before, in the same sense; ``first_place`` is the path's own count at the first edge.
    ``begin_misread_sd_s``, ``end_misread_sd_s``: how far off a rest's end before it, or its beginning after it, may be
    since other edges may be the real ones.
    """

    t_s: Array
    place: Integers
    sense: int
    row: Integers
    turned: bool
    first_place: int
    begin_misread_sd_s: float = 0.0
    end_misread_sd_s: float = 0.0


def cut_runs(t_s: Array, path: Path, scales: Scales) -> list[EdgeRun]:
    """Strokes of the path's real edges, in order, strays left out."""
    rows = np.flatnonzero(path.real)
    t, place, sense = t_s[rows], path.place[rows], path.sense[rows]
    turned = np.diff(sense) != 0
    longest = longest_gap_s(scales)
    stood = ~turned & (np.diff(t) > longest)
    cuts = np.flatnonzero(turned | stood) + 1
    runs = []
    for start, stop in zip([0, *cuts], [*cuts, len(t)], strict=True):
        if _is_stray(t, int(start), int(stop), longest):
            continue
        own = slice(int(start), int(stop))
        runs.append(
            EdgeRun(
                t[own],
                np.abs(place[own] - place[start]),
                int(sense[start]),
                rows[own],
                bool(start == 0 or turned[start - 1]),
                int(place[start]),
            )
        )
    return alternating(runs)


def alternating(runs: list[EdgeRun]) -> list[EdgeRun]:
    """The runs with senses that alternate again, where one between two turnarounds was left out."""
    for number in range(1, len(runs)):
        before, run = runs[number - 1], runs[number]
        sense = -before.sense if run.turned else before.sense
        if sense != run.sense:
            runs[number] = dataclasses.replace(run, sense=sense)
    return runs


def leads_somewhere(runs: list[EdgeRun], number: int, longest_s: float) -> bool:
    """False for a run of a few edges before the first rep, after the last one, or next to a rest."""
    run = runs[number]
    if number == 0 or number + 1 == len(runs):
        return len(run.t_s) > _STRAY_EDGES_OUTSIDE
    rest_s = max(run.t_s[0] - runs[number - 1].t_s[-1], runs[number + 1].t_s[0] - run.t_s[-1])
    return bool(len(run.t_s) > _STRAY_EDGES_OUTSIDE or rest_s < longest_s)


def longest_gap_s(scales: Scales) -> float:
    """A gap beyond this is a rest."""
    return float(_REST_FACTOR * np.sqrt(2.0 * scales.spacing_rad / scales.accel_rad_s2) + _REST_S)


def _is_stray(t: Array, start: int, stop: int, longest: float) -> bool:
    """Whether a run is short and leads nowhere: nothing, or a rest, before or after it."""
    if start == 0 or stop == len(t):
        return stop - start <= _STRAY_EDGES_OUTSIDE
    rested = max(t[start] - t[start - 1], t[stop] - t[stop - 1]) > longest
    return bool(stop - start <= _STRAY_EDGES and rested)


def reread(
    before: EdgeRun, after: EdgeRun, t_s: Array, near: Nearby, window: Integers
) -> tuple[EdgeRun, EdgeRun]:
    """Two runs with the edges around the turnaround between them as ``near`` reads them.

    Args:
        t_s: all edges; window: the numbers among them of ``near``'s edges.
    """
    rows = window[near.used]
    steps = near.steps[near.used]
    kept_before = before.row < window[0]
    kept_after = after.row > window[-1]
    lead = before.place[kept_before]
    first = int(before.place[np.searchsorted(before.row, rows[0])]) if rows[0] in before.row else 0
    early = first + np.append(0, np.cumsum(steps[1 : near.split]))
    late = np.append(0, np.cumsum(steps[near.split + 1 :]))
    tail = after.place[kept_after]
    if len(tail):
        # The run goes on from the window's last edge as it did before.
        tail = late[-1] + tail - int(after.place[np.searchsorted(after.row, rows[-1])])
    row_before = np.concatenate([before.row[kept_before], rows[: near.split]])
    row_after = np.concatenate([rows[near.split :], after.row[kept_after]])
    return (
        dataclasses.replace(
            before, t_s=t_s[row_before], row=row_before, place=np.concatenate([lead, early]).astype(np.int64)
        ),
        dataclasses.replace(
            after, t_s=t_s[row_after], row=row_after, place=np.concatenate([late, tail]).astype(np.int64)
        ),
    )
