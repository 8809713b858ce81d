"""Which sets a recording shows that are in the store already, whichever way they came.

A recorder and a coach may have listened to the same board; reps may have been fetched from it, too. Their times are
on the same board's clock, so that what is the same is so to the microsecond.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from brakebeat.formats.recording import Recording
from brakebeat.results import Rep
from brakebeat.store import edges
from brakebeat.store.connection import Store

# Of two reps' time, of a set's reps and of a set's edges. Two wheels' edges fall on the same microseconds one time in
# thousands; a recording with gaps lacks some.
_SAME_SHARE = 0.5
_FEWEST_EDGES = 4
# The header's clock is told in whole seconds, and a computer's own may have been set meanwhile.
_CLOCK_SLACK_S = 5.0


@dataclass(frozen=True)
class Shown:
    """A set that is in the store; ``start_us``, ``end_us``: its reps, on the recording's clock."""

    set_id: int
    session_id: int
    start_us: int
    end_us: int
    reps: int
    has_edges: bool

    def meets(self, reps: Sequence[Rep]) -> bool:
        """Whether it shares time with a set of these reps."""
        return self.start_us < reps[-1].end_us and reps[0].start_us < self.end_us


def shown(store: Store, recording: Recording, reps: Sequence[Rep]) -> list[Shown]:
    """The sets that a recording shows in which these reps were found: their edges are in it, or they have none and
    were pulled when it was made.
    """
    wall_s = _wall_s(recording.header.get("clock", ""))
    found = []
    for set_id in _at_these_times(store, reps):
        row = store.row(_ONE_SET, (set_id,))
        assert row is not None
        if row["recording_id"] is not None:
            there = _has_edges_of(store, row, recording)
        else:
            started_s = None if wall_s is None else wall_s + row["start_us"] / 1e6
            told = row["engine"] == "board" and started_s is not None
            there = told and abs(row["started_ms"] / 1000 - (started_s or 0.0)) <= _CLOCK_SLACK_S
        if there:
            span = (row["start_us"], row["end_us"])
            found.append(
                Shown(set_id, row["session_id"], *span, row["reps"], row["recording_id"] is not None)
            )
    return found


_ONE_SET = (
    "SELECT session_id, recording_id, engine, started_ms, min(start_us) AS start_us, max(end_us) AS end_us,"
    " count(*) AS reps FROM live_set JOIN rep ON rep.computation_id = live_set.computation_id WHERE live_set.id = ?"
)


def _at_these_times(store: Store, reps: Sequence[Rep]) -> list[int]:
    """Sets most of whose reps are where these are, on whatever clock: few, so that few are looked at closely."""
    rows = store.batches(
        "SELECT live_set.id, start_us, end_us FROM live_set JOIN rep ON rep.computation_id = live_set.computation_id"
        " WHERE end_us > ? AND start_us < ?",
        (reps[0].start_us, reps[-1].end_us),
    )
    spans = [np.array(some) for some in rows]
    if not spans:
        return []
    set_ids, starts, ends = np.concatenate(spans).T
    same = np.zeros(len(set_ids), bool)
    for rep in reps:
        shared = np.minimum(ends, rep.end_us) - np.maximum(starts, rep.start_us)
        same |= shared > _SAME_SHARE * (np.maximum(ends, rep.end_us) - np.minimum(starts, rep.start_us))
    chosen, place = np.unique(set_ids, return_inverse=True)
    return [int(each) for each in chosen[np.bincount(place, same) > _SAME_SHARE * np.bincount(place)]]


def _has_edges_of(store: Store, row: sqlite3.Row, recording: Recording) -> bool:
    """Whether the edges of a set's reps are the recording's, too."""
    kept = store.row("SELECT edges FROM recording WHERE id = ?", (row["recording_id"],))
    assert kept is not None
    times = edges.unpack(kept["edges"])[0]
    first, last = np.searchsorted(times, [row["start_us"], row["end_us"]])
    mine = times[first:last]
    return mine.size >= _FEWEST_EDGES and bool(np.isin(mine, recording.t_us).mean() > _SAME_SHARE)


class Recorded:
    """The store's sets with raw edges whose recording says what its clock means, for reps that come another way."""

    def __init__(self, store: Store) -> None:
        self._sets: list[tuple[float, list[tuple[int, int, int, int]]]] = []
        rows = store.rows(
            "SELECT live_set.id, computation_id, json_extract(recording.header, '$.clock') AS clock FROM live_set"
            " JOIN recording ON recording.id = recording_id WHERE clock IS NOT NULL"
        )
        for row in rows:
            wall_s = _wall_s(row["clock"])
            reps = store.rows(
                "SELECT rep_index, start_us, end_us FROM rep WHERE computation_id = ?",
                (row["computation_id"],),
            )
            if wall_s is not None:
                spans = [(row["id"], rep["rep_index"], rep["start_us"], rep["end_us"]) for rep in reps]
                self._sets.append((wall_s, spans))

    def rep_like(self, rep: Rep, started_s: float) -> tuple[int, int] | None:
        """(set, index in it) of the rep that was pulled at that time of day and of the board's clock; None without."""
        for wall_s, spans in self._sets:
            if abs(wall_s + rep.start_us / 1e6 - started_s) <= _CLOCK_SLACK_S:
                for set_id, index, start_us, end_us in spans:
                    if _same(start_us, end_us, rep):
                        return set_id, index
        return None


def _wall_s(clock: str) -> float | None:
    """What the time was, in seconds since 1970, where a recording's clock was at 0; None where it does not say."""
    parts = clock.split(" us was ")
    try:
        return datetime.fromisoformat(parts[1]).timestamp() - int(parts[0]) / 1e6
    except (IndexError, ValueError, OverflowError):
        return None


def _same(start_us: int, end_us: int, rep: Rep) -> bool:
    """As ``check`` pairs reps: the time that they share is more than half of what they span together."""
    shared = min(end_us, rep.end_us) - max(start_us, rep.start_us)
    return shared > _SAME_SHARE * (max(end_us, rep.end_us) - min(start_us, rep.start_us))
