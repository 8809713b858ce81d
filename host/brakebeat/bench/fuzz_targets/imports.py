"""What the store imports."""

from __future__ import annotations

import functools
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from brakebeat.bench.fuzz_targets.given import file, keep, must_name, scratch
from brakebeat.errors import InputError
from brakebeat.formats.rig import Rig
from brakebeat.store import open_store
from brakebeat.store.fetched import import_fetched
from brakebeat.store.flat import import_flat
from brakebeat.store.merge import import_export

_RIG = Rig(pulses_per_rev=6, inertia_kg_m2=0.12, drum_radius_m=0.03)


@functools.cache
def _store() -> Any:
    store = open_store(scratch() / "log.brakebeat")
    keep.append(store)
    return store


def _imported(name: str, data: bytes, take: Callable[[Any, Path], object]) -> None:
    """Taken or refused: refused it leaves nothing behind, and the store stays sound."""
    store, path = _store(), file(name, data)
    before = _rows(store)
    try:
        take(store, path)
    except InputError as error:
        must_name(error, name)
        if _rows(store) != before:
            raise AssertionError("a refused import left something behind") from error
    if store.rows("PRAGMA foreign_key_check"):
        raise AssertionError("a row refers to nothing")


def _rows(store: Any) -> list[int]:
    tables = ("athlete", "exercise", "session", "work_set", "rep", "cue", "note", "arrival", "change", "plan")
    return [store.row(f"SELECT count(*) FROM {table}")[0] for table in tables]


def fetched(data: bytes) -> None:
    """Reps that ``fetch`` wrote, as JSON lines."""
    at = datetime(2026, 1, 1, tzinfo=UTC)

    def take(store: Any, path: Path) -> object:
        return import_fetched(store, path, athlete="Mara", exercise="squat", rig=_RIG, unknown_at=at)

    _imported("reps.jsonl", data, take)


def export(data: bytes) -> None:
    """An export as JSON."""
    _imported("export.json", data, import_export)


def flat(data: bytes) -> None:
    """An export as CSV or Parquet."""
    _imported("reps.csv", data, import_flat)
