"""Which sets a recording shows that are in the store already, whichever way they came.

A recorder and a coach may have listened to the same board; reps may have been fetched from it, too. Their times are
on the same board's clock, so that what is the same is so to the microsecond.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from brakebeat.formats.edge_text import Times
from brakebeat.formats.recording import Recording
from brakebeat.results import Rep
from brakebeat.store import edges
from brakebeat.store.connection import Store

# Two wheels' edges fall on the same microseconds one time in thousands; a recording with gaps lacks some.
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


_SPANS = (
    "SELECT live_set.id, session_id, recording_id, min(start_us) AS start_us, max(end_us) AS end_us, count(*) AS reps"
    " FROM live_set JOIN rep ON rep.computation_id = live_set.computation_id"
)


def shown_by_edges(store: Store, recording: Recording) -> list[Shown]:
    """The sets whose kept edges are in the recording."""
    times = recording.t_us
    rows = store.rows(
        f"{_SPANS} WHERE recording_id IS NOT NULL GROUP BY live_set.id HAVING min(start_us) < ? AND max(end_us) > ?"
        " ORDER BY live_set.id",
        (int(times[-1]), int(times[0])),
    )
    found = []
    unpacked: tuple[int, Times] = (0, times)
    for row in rows:
        if row["recording_id"] != unpacked[0]:
            kept = store.row("SELECT edges FROM recording WHERE id = ?", (row["recording_id"],))
            assert kept is not None
            unpacked = (row["recording_id"], edges.unpack(kept["edges"])[0])
        first, last = np.searchsorted(unpacked[1], [row["start_us"], row["end_us"]])
        mine = unpacked[1][first:last]
        if mine.size >= _FEWEST_EDGES and np.isin(mine, times).mean() > _SAME_SHARE:
            span = (row["start_us"], row["end_us"])
            found.append(Shown(row["id"], row["session_id"], *span, row["reps"], True))
    return found


def shown_by_clock(store: Store, recording: Recording, reps: Sequence[Rep]) -> list[Shown]:
    """A board's sets without edges that were pulled when the recording was made, and at the times of these reps."""
    wall_s = _wall_s(recording.header.get("clock", ""))
    if wall_s is None or not reps:
        return []
    rows = store.rows(
        f"{_SPANS} WHERE recording_id IS NULL AND engine = 'board' AND live_set.started_ms BETWEEN ? AND ?"
        " GROUP BY live_set.id ORDER BY live_set.id",
        [
            1000 * (wall_s + time_us / 1e6 + slack_s)
            for time_us, slack_s in ((reps[0].start_us, -_CLOCK_SLACK_S), (reps[-1].end_us, _CLOCK_SLACK_S))
        ],
    )
    found = []
    for row in rows:
        theirs = store.rows(
            "SELECT start_us, end_us FROM rep JOIN work_set ON work_set.computation_id = rep.computation_id"
            " WHERE work_set.id = ?",
            (row["id"],),
        )
        same = sum(any(_same(each["start_us"], each["end_us"], rep) for rep in reps) for each in theirs)
        if same > _SAME_SHARE * len(theirs):
            found.append(
                Shown(row["id"], row["session_id"], row["start_us"], row["end_us"], row["reps"], False)
            )
    return found


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
    return shared > 0.5 * (max(end_us, rep.end_us) - min(start_us, rep.start_us))
