"""Which record of which board's journal a rep came from: what is here already is not taken again."""

from __future__ import annotations

from brakebeat.store.connection import Store


def arrived_before(store: Store, journal_id: int, sequence: int) -> bool:
    """Whether that record is in the store, in a set that is not deleted."""
    sql = (
        "SELECT 1 FROM arrival JOIN live_set ON live_set.id = arrival.set_id"
        " WHERE journal_id = ? AND sequence = ?"
    )
    return store.row(sql, (journal_id, sequence)) is not None


def note_arrival(store: Store, journal_id: int, sequence: int, set_id: int, rep_index: int) -> None:
    """That record is this set's rep from now on."""
    with store.writing():
        store.write(
            "INSERT OR REPLACE INTO arrival (journal_id, sequence, set_id, rep_index) VALUES (?, ?, ?, ?)",
            (journal_id, sequence, set_id, rep_index),
        )
