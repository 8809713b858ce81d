"""Stored edges looked at again: new figures that count from now on, the old ones stay."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from brakebeat import __version__
from brakebeat.formats.header import LOST_KEY
from brakebeat.results import Rep
from brakebeat.store.changes import change
from brakebeat.store.computing import EngineName, fill, look
from brakebeat.store.connection import Store
from brakebeat.store.sessions import load_recording, new_computation
from brakebeat.wording import counted


@dataclass(frozen=True)
class Recomputed:
    """One set's figures before and after."""

    set_id: int
    reps_before: int
    reps_after: int
    engine: str
    engine_version: str


def recompute(
    store: Store,
    session_id: int | None = None,
    engine: EngineName = "reference",
    tell: Callable[[int, int], None] = lambda done, of: None,
) -> tuple[int | None, list[Recomputed], int]:
    """Work stored edges out anew and let the new figures count; the old ones stay for ``undo``.

    Returns (the change's id or None, what was recomputed, how many sets have no whole raw edges). ``tell`` hears how
    many recordings are done. Edges with gaps in them would give wrong figures: those sets count as having none.
    """
    where, values = ("WHERE session_id = ?", (session_id,)) if session_id is not None else ("", ())
    rows = store.rows(
        "SELECT live_set.id, recording_id, rig_id,"
        f" json_extract(recording.header, '$.{LOST_KEY}') IS NULL AND recording_id IS NOT NULL AS whole"
        f" FROM live_set LEFT JOIN recording ON recording.id = recording_id {where} ORDER BY live_set.id",
        values,
    )
    groups: dict[tuple[int, int], list[int]] = {}
    for row in rows:
        if row["whole"]:
            groups.setdefault((row["recording_id"], row["rig_id"]), []).append(row["id"])
    looks = []
    for done, (group, set_ids) in enumerate(groups.items()):
        tell(done, len(groups))
        recording = load_recording(store, set_ids[0])
        assert recording is not None
        looks.append((group[0], set_ids, look(recording, engine)))
    tell(len(groups), len(groups))
    # Looking takes long and happens outside; others can write meanwhile.
    identity, outcome = None, []
    with store.writing():
        edits = []
        for recording_id, set_ids, seen in looks:
            for set_id, reps in _shared_out(store, recording_id, seen.analysis.reps).items():
                if set_id not in set_ids:
                    continue
                before = len(_spans(store, "id", set_id)[0][1])
                computation = new_computation(store, set_id, seen.analysis.engine)
                fill(store, computation, seen, reps)
                edits.append(("work_set", set_id, {"computation_id": computation}))
                outcome.append(Recomputed(set_id, before, len(reps), seen.analysis.engine, __version__))
        if edits:
            identity = change(
                store, f"recomputed {counted(len(edits), 'set')} with {engine} {__version__}", edits
            )
    return identity, outcome, sum(not row["whole"] for row in rows)


def _spans(store: Store, column: str, value: int) -> list[tuple[int, list[tuple[int, int]]]]:
    """(set, [(start_us, end_us) of each rep]) of the sets, deleted ones too, where ``column`` is ``value``."""
    found = []
    for row in store.rows(
        f"SELECT id, computation_id FROM work_set WHERE {column} = ? ORDER BY id", (value,)
    ):
        reps = store.rows(
            "SELECT start_us, end_us FROM rep WHERE computation_id = ? ORDER BY start_us",
            (row["computation_id"],),
        )
        found.append((row["id"], [(rep["start_us"], rep["end_us"]) for rep in reps]))
    return found


def _shared_out(store: Store, recording_id: int, reps: Sequence[Rep]) -> dict[int, list[Rep]]:
    """Each rep to the recording's set that it is nearest to in time; sets stay what they were."""
    spans = [
        (set_id, span[0][0], span[-1][1])
        for set_id, span in _spans(store, "recording_id", recording_id)
        if span
    ]
    shares: dict[int, list[Rep]] = {set_id: [] for set_id, _, _ in spans}
    for rep in reps if spans else ():
        middle = (rep.start_us + rep.end_us) // 2
        nearest = min(spans, key=lambda span: max(span[1] - middle, middle - span[2], 0))
        shares[nearest[0]].append(rep)
    return shares
