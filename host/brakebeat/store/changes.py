"""Edits and deletions by hand, each with what stood there before, so that it can be undone."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from brakebeat.errors import InputError
from brakebeat.store.catalog import new_uid
from brakebeat.store.clock import from_stored, now_ms
from brakebeat.store.connection import Store
from brakebeat.wording import printable

# Tables whose rows may be edited, and the columns that may be.
EDITABLE: dict[str, frozenset[str]] = {
    "athlete": frozenset({"name", "deleted_ms"}),
    "exercise": frozenset({"name", "deleted_ms"}),
    "plan": frozenset({"deleted_ms"}),
    "session": frozenset({"athlete_id", "plan_id", "started_ms", "utc_offset_min", "deleted_ms"}),
    "work_set": frozenset({"exercise_id", "rig_id", "recording_id", "computation_id", "deleted_ms"}),
    "rep_mark": frozenset({"deleted_ms"}),
    "note": frozenset({"text", "deleted_ms"}),
}
Edit = tuple[str, int, dict[str, Any]]


@dataclass(frozen=True)
class Change:
    """One thing that was done, in words."""

    id: int
    at: datetime
    summary: str
    undone: bool


def change(store: Store, summary: str, edits: Sequence[Edit]) -> int:
    """Set columns of rows, all together, as one change that ``undo`` takes back; returns its id.

    Each edit is (table, row id, {column: value}), of ``EDITABLE`` ones. Raises InputError for a row that
    is not there; then nothing is changed.
    """
    with store.writing():
        identity = store.insert("change", {"at_ms": now_ms(), "summary": printable(summary)})
        for position, (table, row_id, after) in enumerate(edits):
            assert after.keys() <= EDITABLE[table], (table, after)
            row = store.row(f"SELECT * FROM {table} WHERE id = ?", (row_id,))
            if row is None:
                raise InputError(f"{store.path}: there is no {table} {row_id}")
            before = {column: row[column] for column in after}
            _set_columns(store, table, row_id, after)
            store.insert(
                "change_row",
                {
                    "change_id": identity,
                    "position": position,
                    "table_name": table,
                    "row_id": row_id,
                    "before": json.dumps(before),
                    "after": json.dumps(after),
                },
            )
    return identity


def delete(store: Store, summary: str, rows: Sequence[tuple[str, int]]) -> int:
    """Delete rows of ``EDITABLE`` tables, with all below them, until undone; returns the change's id."""
    at = now_ms()
    return change(store, summary, [(table, row_id, {"deleted_ms": at}) for table, row_id in rows])


def created(store: Store, summary: str, rows: Sequence[tuple[str, int]]) -> int:
    """Note that rows are new, so that ``undo`` deletes them; returns the change's id."""
    with store.writing():
        identity = store.insert("change", {"at_ms": now_ms(), "summary": printable(summary)})
        for position, (table, row_id) in enumerate(rows):
            values = {"change_id": identity, "position": position, "table_name": table, "row_id": row_id}
            gone = json.dumps({"deleted_ms": now_ms()})
            store.insert("change_row", {**values, "before": gone, "after": json.dumps({"deleted_ms": None})})
    return identity


def mark_rep(store: Store, set_id: int, at_us: int, summary: str) -> int:
    """Take the rep out of its set's figures that ``at_us`` is inside of; returns the change's id."""
    with store.writing():
        values = {"uid": new_uid(), "set_id": set_id, "at_us": at_us, "created_ms": now_ms()}
        return created(store, summary, [("rep_mark", store.insert("rep_mark", values))])


def add_note(store: Store, kind: str, identity: int, text: str, on: str = "") -> int:
    """A note on an athlete, a session or a set, ``on`` in words for the list of changes; returns its id.

    Raises ``InputError`` for an empty one.
    """
    if not text.strip():
        raise InputError("note: is empty; write what you want to remember")
    with store.writing():
        note = store.insert(
            "note", {"uid": new_uid(), f"{kind}_id": identity, "text": text.strip(), "created_ms": now_ms()}
        )
        created(store, f"note on {on or kind}", [("note", note)])
    return note


def changes(store: Store, limit: int = 20) -> list[Change]:
    """What was done, the newest first."""
    rows = store.rows("SELECT * FROM change ORDER BY id DESC LIMIT ?", (limit,))
    return [
        Change(row["id"], from_stored(row["at_ms"]), row["summary"], row["undone_ms"] is not None)
        for row in rows
    ]


def undo(store: Store, identity: int | None = None) -> Change:
    """Take back a change, by default the newest that stands; returns it.

    Raises ``InputError`` where there is none, it is undone already, or a later change touched the same.
    """
    with store.writing():
        target = _target(store, identity)
        rows = store.rows("SELECT * FROM change_row WHERE change_id = ? ORDER BY position DESC", (target.id,))
        for row in rows:
            _put_back(store, target, row)
        store.write("UPDATE change SET undone_ms = ? WHERE id = ?", (now_ms(), target.id))
    return target


def _target(store: Store, identity: int | None) -> Change:
    if identity is None:
        row = store.row("SELECT * FROM change WHERE undone_ms IS NULL ORDER BY id DESC LIMIT 1")
    else:
        row = store.row("SELECT * FROM change WHERE id = ?", (identity,))
    if row is None:
        what = "nothing to undo" if identity is None else f"there is no change {identity}"
        raise InputError(f"{store.path}: {what}; `brakebeat log changes` lists them")
    if row["undone_ms"] is not None:
        raise InputError(f"{store.path}: change {identity} ({row['summary']}) is undone already")
    return Change(row["id"], from_stored(row["at_ms"]), row["summary"], False)


def _put_back(store: Store, target: Change, row: Any) -> None:
    before, after = json.loads(row["before"]), json.loads(row["after"])
    table = row["table_name"]
    now = store.row(f"SELECT * FROM {table} WHERE id = ?", (row["row_id"],))
    if now is None or any(now[column] != value for column, value in after.items()):
        raise InputError(
            f"{store.path}: change {target.id} ({target.summary}) was followed by another one of the same; "
            "undo that first (`brakebeat log changes`)"
        )
    _set_columns(store, table, row["row_id"], before)


def _set_columns(store: Store, table: str, row_id: int, values: dict[str, Any]) -> None:
    columns = ", ".join(f"{column} = ?" for column in values)
    store.write(f"UPDATE {table} SET {columns} WHERE id = ?", (*values.values(), row_id))
