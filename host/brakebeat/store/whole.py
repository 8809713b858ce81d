"""The store as one JSON document, which an import takes back without making anything twice.

``{"brakebeat-export": 1, "tables": {NAME: {"columns": [...], "rows": [[...], ...]}}}``: the store's own tables
without what is deleted, older computations and the list of changes. Edges are base64 of their packed form.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from typing import IO, Any

import orjson

from brakebeat.store.connection import Store
from brakebeat.store.rep_rows import COLUMNS

FORMAT_KEY = "brakebeat-export"
FORMAT = 1

# Tables in the order in which one may refer to another, each with its columns.
TABLES: dict[str, tuple[str, ...]] = {
    "athlete": ("id", "uid", "name", "created_ms"),
    "exercise": ("id", "uid", "name", "created_ms"),
    "rig": ("id", "uid", "name", "inertia_kg_m2", "document", "created_ms"),
    "plan": ("id", "uid", "athlete_id", "document", "created_ms"),
    "session": ("id", "uid", "athlete_id", "plan_id", "started_ms", "utc_offset_min"),
    "recording": ("id", "uid", "header", "edges", "created_ms"),
    "engine": ("id", "name", "version"),
    "work_set": (
        "id",
        "uid",
        "session_id",
        "position",
        "exercise_id",
        "rig_id",
        "recording_id",
        "computation_id",
        "started_ms",
    ),
    "computation": ("id", "uid", "set_id", "engine_id", "computed_ms", "quality"),
    "rep": ("computation_id", *COLUMNS),
    "cue": ("computation_id", "t_us", "kind", "rep_index"),
    "arrival": ("journal_id", "sequence", "set_id", "rep_index"),
    "rep_mark": ("id", "uid", "set_id", "at_us", "created_ms"),
    "note": ("id", "uid", "athlete_id", "session_id", "set_id", "text", "created_ms"),
}
_SETS = "SELECT id FROM temp.chosen_set"
_SESSIONS = "SELECT id FROM temp.chosen_session"
_ATHLETES = "SELECT id FROM temp.chosen_athlete"
_COMPUTATIONS = f"SELECT computation_id FROM work_set WHERE id IN ({_SETS})"
_WHICH = {
    "athlete": f"id IN ({_ATHLETES})",
    "exercise": f"deleted_ms IS NULL OR id IN (SELECT exercise_id FROM work_set WHERE id IN ({_SETS}))",
    "rig": f"id IN (SELECT rig_id FROM work_set WHERE id IN ({_SETS}))",
    "plan": f"deleted_ms IS NULL AND athlete_id IN ({_ATHLETES})",
    "session": f"id IN ({_SESSIONS})",
    "recording": f"id IN (SELECT recording_id FROM work_set WHERE id IN ({_SETS}))",
    "engine": f"id IN (SELECT engine_id FROM computation WHERE id IN ({_COMPUTATIONS}))",
    "work_set": f"id IN ({_SETS})",
    "computation": f"id IN ({_COMPUTATIONS})",
    "rep": f"computation_id IN ({_COMPUTATIONS})",
    "cue": f"computation_id IN ({_COMPUTATIONS})",
    "arrival": f"set_id IN ({_SETS})",
    "rep_mark": f"deleted_ms IS NULL AND set_id IN ({_SETS})",
    "note": f"deleted_ms IS NULL AND (athlete_id IN ({_ATHLETES}) OR session_id IN ({_SESSIONS})"
    f" OR set_id IN ({_SETS}))",
}


def json_pieces(store: Store, athlete_id: int | None = None, *, with_edges: bool = True) -> Iterator[str]:
    """The document piece by piece; numbers carry 15 digits."""
    where, values = ("", ()) if athlete_id is None else ("WHERE athlete_id = ?", (athlete_id,))
    athletes = ("WHERE deleted_ms IS NULL", ()) if athlete_id is None else ("WHERE id = ?", (athlete_id,))
    with store.reading():
        store.write(f"CREATE TEMP TABLE chosen_athlete AS SELECT id FROM athlete {athletes[0]}", athletes[1])
        store.write(f"CREATE TEMP TABLE chosen_session AS SELECT id FROM live_session {where}", values)
        store.write(f"CREATE TEMP TABLE chosen_set AS SELECT id FROM live_set {where}", values)
        yield f'{{"{FORMAT_KEY}": {FORMAT},\n"tables": {{'
        for place, table in enumerate(TABLES):
            yield f"{',' if place else ''}\n{json.dumps(table)}: "
            yield from _table(store, table, with_edges)
        yield "}}\n"


def write_json(
    store: Store, stream: IO[bytes], athlete_id: int | None = None, *, with_edges: bool = True
) -> None:
    """Write the document as UTF-8."""
    for piece in json_pieces(store, athlete_id, with_edges=with_edges):
        stream.write(piece.encode())


def _table(store: Store, table: str, with_edges: bool) -> Iterator[str]:
    columns = TABLES[table]
    yield f'{{"columns": {json.dumps(columns)}, "rows": ['
    if with_edges or table != "recording":
        rows = _recordings(store) if table == "recording" else _plain(store, table, with_edges)
        for place, some in enumerate(rows):
            yield (",\n" if place else "\n") + _lines(some)
    yield "]}"


def _lines(rows: list[tuple[Any, ...]]) -> str:
    """Rows as JSON, one a line."""
    # All at once is five times as quick as row by row.
    lines = orjson.dumps(rows)[1:-1].split(b"],[")
    if len(lines) != len(rows):  # A text holds brackets like these.
        return b",\n".join(map(orjson.dumps, rows)).decode()
    return b"],\n[".join(lines).decode()


def _plain(store: Store, table: str, with_edges: bool) -> Iterator[list[tuple[Any, ...]]]:
    columns = ["NULL" if name == "recording_id" and not with_edges else name for name in TABLES[table]]
    # A session's plan may be deleted: then the export does not have it.
    columns = [
        "(SELECT plan.id FROM plan WHERE plan.id = plan_id AND plan.deleted_ms IS NULL)"
        if name == "plan_id"
        else name
        for name in columns
    ]
    return store.batches(f"SELECT {', '.join(columns)} FROM {table} WHERE {_WHICH[table]}")


def _recordings(store: Store) -> Iterator[list[tuple[Any, ...]]]:
    columns = TABLES["recording"]
    place = columns.index("edges")
    # One at a time: edges are large.
    for row in store.stream(f"SELECT {', '.join(columns)} FROM recording WHERE {_WHICH['recording']}"):
        yield [(*row[:place], base64.b64encode(row[place]).decode(), *row[place + 1 :])]
