"""Takes an earlier JSON export (``whole``) into a store: what is there already stays as it is."""

from __future__ import annotations

import base64
import hashlib
import json
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from brakebeat.errors import InputError, unreadable
from brakebeat.formats.rig import Rig
from brakebeat.results import FLAGS
from brakebeat.store import edges
from brakebeat.store.catalog import checked_name
from brakebeat.store.connection import Store
from brakebeat.store.whole import FORMAT, FORMAT_KEY, TABLES

_PARENTS = {
    "athlete_id": "athlete",
    "exercise_id": "exercise",
    "rig_id": "rig",
    "plan_id": "plan",
    "session_id": "session",
    "recording_id": "recording",
    "engine_id": "engine",
    "set_id": "work_set",
    "computation_id": "computation",
}

# Tables whose rows have no id of their own, and what makes a row of them itself.
_KEYS = {
    "rep": ("computation_id", "rep_index"),
    "cue": ("computation_id", "t_us", "kind"),
    "arrival": ("journal_id", "sequence"),
}


class _Table(BaseModel):
    columns: list[str]
    rows: list[list[int | float | str | None]]


class _Tables(BaseModel):
    tables: dict[str, _Table]


@dataclass
class Merged:
    """How many rows of each table were new."""

    new: dict[str, int] = field(default_factory=dict)


def is_export(path: Path) -> bool:
    """Whether a file begins like a JSON document (a recording begins with `#`). Raises InputError where it cannot be
    read.
    """
    try:
        with path.open("rb") as stream:
            return stream.read(64).removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{")
    except OSError as error:
        raise unreadable(path, error) from error


def import_export(store: Store, path: Path) -> Merged:
    """Take an export in, all of it or nothing; twice is once.

    Athletes and exercises of the same name are the same. Raises ``InputError`` naming file, table and row.
    """
    tables = _read(path)
    merging = _Merging(store, str(path))
    with store.writing():
        for name in TABLES:
            if name in tables:
                merging.take_table(name, tables[name])
        merging.finish()
    return Merged(merging.new)


def _read(path: Path) -> dict[str, _Table]:
    try:
        document = json.loads(path.read_bytes())
        version = document.get(FORMAT_KEY) if isinstance(document, dict) else None
        if version != FORMAT:
            raise InputError(
                f"{path}: `{FORMAT_KEY}` is {version!r}, not {FORMAT}; "
                "only an export of `brakebeat export --format json` comes back in"
            )
        tables = _Tables.model_validate(document, strict=True).tables
    except OSError as error:
        raise unreadable(path, error) from error
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise InputError(f"{path}: {place}: {first['msg']}; export it again") from error
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path}: not JSON ({error}); export it again") from error
    for name, table in tables.items():
        if name not in TABLES or tuple(table.columns) != TABLES[name]:
            raise InputError(f"{path}: table {name!r} has other columns than an export has; export it again")
    return tables


class _Merging:
    """The way of an export's rows into the store."""

    def __init__(self, store: Store, path: str) -> None:
        self._store, self._path = store, path
        # An export's id -> ours, by table.
        self._ids: dict[str, dict[Any, int]] = {name: {} for name in TABLES}
        self._new_sets: dict[int, Any] = {}
        self._foreign: set[Any] = set()
        self.new: dict[str, int] = {}

    def take_table(self, name: str, table: _Table) -> None:
        """Take the rows that are not there yet. Raises InputError naming table and row."""
        for number, cells in enumerate(table.rows):
            where = f"{self._path}: {name} row {number + 1}"
            if len(cells) != len(table.columns):
                raise InputError(f"{where}: {len(cells)} values for {len(table.columns)} columns")
            try:
                self._take(name, dict(zip(table.columns, cells, strict=True)))
            except InputError as error:
                raise InputError(f"{where}: {_reason(error, self._store)}; nothing was taken in") from error
            except (ValueError, TypeError, AttributeError, OverflowError) as error:
                raise InputError(
                    f"{where}: a value is of the wrong kind ({error}); nothing was taken in"
                ) from error

    def _take(self, name: str, values: dict[str, Any]) -> None:
        if any(isinstance(value, float) and not math.isfinite(value) for value in values.values()):
            raise InputError("a number is not finite")
        theirs = values.pop("id", None)
        computation = values.get("computation_id")
        if name in ("rep", "cue") and computation in self._foreign:
            return  # The set has been looked at anew here since; ours counts.
        if name == "work_set":
            values["computation_id"] = None
        if name == "computation" and not self._wanted(values, theirs):
            return
        for column, parent in _PARENTS.items():
            if values.get(column) is not None:
                values[column] = self._parent(parent, values[column])
        _check(name, values)
        ours, is_new = self._row(name, values)
        if theirs is not None:
            self._ids[name][theirs] = ours
        if is_new:
            self.new[name] = self.new.get(name, 0) + 1
        if is_new and name == "work_set":
            self._new_sets[ours] = computation

    def _wanted(self, values: dict[str, Any], theirs: Any) -> bool:
        """Whether a computation is one that a set of ours shows, or a new set's."""
        ours = self._parent("work_set", values["set_id"])
        row = self._store.row(
            "SELECT computation.uid FROM work_set LEFT JOIN computation"
            " ON computation.id = work_set.computation_id WHERE work_set.id = ?",
            (ours,),
        )
        if ours in self._new_sets or (row is not None and row["uid"] == values["uid"]):
            return True
        self._foreign.add(theirs)
        return False

    def _parent(self, table: str, theirs: Any) -> int:
        ours = self._ids[table].get(theirs)
        if ours is None:
            raise InputError(f"refers to {table} {theirs!r}, which is not in the file")
        return ours

    def _row(self, name: str, values: dict[str, Any]) -> tuple[int, bool]:
        """(our id, whether it is new) of a row."""
        store = self._store
        keys = _KEYS.get(name)
        if keys is not None:
            match = " AND ".join(f"{key} = ?" for key in keys)
            known = store.row(f"SELECT 1 FROM {name} WHERE {match}", [values[key] for key in keys])
            if known is None:
                store.insert(name, values)
            return 0, known is None
        there = self._known(name, values)
        if there is not None:
            return there, False
        if name == "work_set":
            values["position"] = self._free_position(values)
        return store.insert(name, values), True

    def _known(self, name: str, values: dict[str, Any]) -> int | None:
        store = self._store
        if name == "engine":
            keys = "name = ? AND version = ?"
            row = store.row(f"SELECT id FROM engine WHERE {keys}", (values["name"], values["version"]))
        else:
            row = store.row(f"SELECT id FROM {name} WHERE uid = ?", (values["uid"],))
        if row is None and name in ("athlete", "exercise"):
            by_name = f"SELECT id FROM {name} WHERE name = ? COLLATE NOCASE AND deleted_ms IS NULL"
            row = store.row(by_name, (values["name"],))
        return None if row is None else row["id"]

    def _free_position(self, values: dict[str, Any]) -> int:
        row = self._store.row(
            "SELECT max(position) AS last, max(position = ?) AS taken FROM work_set WHERE session_id = ?",
            (values["position"], values["session_id"]),
        )
        assert row is not None
        return row["last"] + 1 if row["taken"] else values["position"]

    def finish(self) -> None:
        """Let each new set show its computation."""
        for ours, theirs in self._new_sets.items():
            if theirs is not None:
                computation = self._parent("computation", theirs)
                self._store.write("UPDATE work_set SET computation_id = ? WHERE id = ?", (computation, ours))


def _reason(error: InputError, store: Store) -> str:
    return str(error).removeprefix(f"{store.path}: ")


def _check(name: str, values: dict[str, Any]) -> None:
    """What the tables themselves cannot see to. Unpacks the edges."""
    if name in ("athlete", "exercise"):
        checked_name(name, str(values["name"]))
    elif name == "rig":
        Rig.model_validate_json(values["document"])
        if hashlib.sha256(values["document"].encode()).hexdigest() != values["uid"]:
            raise InputError("uid does not fit the document")
    elif name == "plan":
        json.loads(values["document"])
    elif name == "recording":
        values["edges"] = base64.b64decode(values["edges"], validate=True)
        t_us, step = edges.unpack(values["edges"])
        values["edge_count"] = len(t_us)
        if edges.digest(t_us, step) != values["uid"]:
            raise InputError("uid does not fit the edges")
        if not isinstance(json.loads(values["header"]), dict):
            raise InputError("header is not a JSON object")
    elif name == "rep":
        if values["brake_timing"] not in (None, "early", "inside", "late", "none"):
            raise InputError(f"brake_timing {values['brake_timing']!r} is not known")
        if not set(values["flags"].split()) <= FLAGS.keys():
            raise InputError(f"flags {values['flags']!r} are not all known")
        json.loads(values["uncertainty"] or "{}")
    elif name == "cue" and values["kind"] not in ("window", "late", "drop_off", "set_done"):
        raise InputError(f"kind {values['kind']!r} is not known")
