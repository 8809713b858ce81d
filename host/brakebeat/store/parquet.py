"""The store's flat table as Parquet, with pyarrow."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

from brakebeat.errors import InputError
from brakebeat.formats.atomic import replacing
from brakebeat.store.connection import Store
from brakebeat.store.table import (
    HEADINGS,
    NUMBER_COLUMNS,
    RATIOS,
    SET_COLUMNS,
    TEXT_COLUMNS,
    chosen_sets,
    numbered_reps,
    set_cells,
)

_ROWS_A_GROUP = 1 << 16
_CELLS = ", ".join(
    ["rep." + name for name in NUMBER_COLUMNS] + RATIOS + ["rep." + name for name in TEXT_COLUMNS]
)


def write_parquet(store: Store, path: Path, athlete_id: int | None = None) -> None:
    """Write the table as Parquet, whole or not at all. Raises ``InputError`` where pyarrow is missing."""
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError as error:
        raise InputError(
            "Parquet needs pyarrow, which is not installed: pip install 'brakebeat[parquet]', or take CSV"
        ) from error
    kinds = _kinds(pyarrow)
    with replacing(path) as unfinished, store.reading():
        chosen = chosen_sets(store, athlete_id)
        by_column = (
            zip(*(set_cells(row) for row in chosen), strict=True) if chosen else [()] * len(SET_COLUMNS)
        )
        of_sets = [
            pyarrow.array(values, kinds[name]) for name, values in zip(SET_COLUMNS, by_column, strict=True)
        ]
        reps = numbered_reps(store, chosen, _CELLS)
        schema = pyarrow.schema(list(kinds.items()))
        # Only what a set says once repeats enough for a dictionary.
        repeats = [*SET_COLUMNS, *TEXT_COLUMNS]
        with pyarrow.parquet.ParquetWriter(unfinished, schema, use_dictionary=repeats) as writer:
            while some := list(itertools.islice(reps, _ROWS_A_GROUP)):
                places, numbers, marked, cells = zip(*some, strict=True)
                place = pyarrow.array(places)
                columns = [column.take(place) for column in of_sets]
                of_reps = (numbers, marked, *zip(*cells, strict=True))
                names = HEADINGS[len(SET_COLUMNS) :]
                columns += [
                    _column(pyarrow, values, kinds[name]) for name, values in zip(names, of_reps, strict=True)
                ]
                writer.write_table(pyarrow.table(columns, schema=schema))


def _column(pyarrow: Any, values: tuple[Any, ...], kind: Any) -> Any:
    # SQLite has no truth values.
    return pyarrow.array(map(bool, values) if kind == pyarrow.bool_() else values, kind)


def _kinds(pyarrow: Any) -> dict[str, Any]:
    """Each column's type, in the order of the table."""
    kinds = {name: pyarrow.float64() for name in HEADINGS}
    words = (
        "athlete",
        "exercise",
        "rig",
        "engine",
        "engine_version",
        "set_uid",
        "session_uid",
        *TEXT_COLUMNS,
    )
    kinds |= {name: pyarrow.string() for name in words}
    whole = (
        "session",
        "set",
        "rep",
        "rep_index",
        "pulses_per_rev",
        *(name for name in HEADINGS if name.endswith("_us")),
    )
    kinds |= {name: pyarrow.int64() for name in whole}
    kinds |= {name: pyarrow.bool_() for name in ("momentum", "taken_out")}
    kinds["set_started"] = pyarrow.timestamp("ms", tz="UTC")
    return kinds
