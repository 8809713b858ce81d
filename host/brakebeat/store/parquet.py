"""The store's flat table as Parquet, with pyarrow."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from brakebeat.errors import InputError
from brakebeat.formats.atomic import replacing
from brakebeat.store.arrow_columns import column
from brakebeat.store.connection import Store
from brakebeat.store.table import (
    HEADINGS,
    NUMBER_COLUMNS,
    RATIOS,
    SET_COLUMNS,
    TEXT_COLUMNS,
    Chosen,
    chosen_sets,
    reps,
)

_BATCHES_A_GROUP = 200
_CELL_COUNT = len(NUMBER_COLUMNS) + len(RATIOS) + len(TEXT_COLUMNS)
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
    schema = pyarrow.schema(list(kinds.items()))
    # Only what a set says once repeats enough for a dictionary.
    repeats = [*SET_COLUMNS, *TEXT_COLUMNS]
    with (
        replacing(path) as unfinished,
        store.reading(),
        pyarrow.parquet.ParquetWriter(unfinished, schema, use_dictionary=repeats) as writer,
        # Writing needs no interpreter: it goes on while the next reps are read.
        ThreadPoolExecutor(1) as aside,
    ):
        written: Future[None] | None = None
        for columns in _row_groups(pyarrow, store, athlete_id, kinds):
            if written is not None:
                written.result()
            written = aside.submit(writer.write_table, pyarrow.table(columns, schema=schema))
        if written is not None:
            written.result()


def _row_groups(
    pyarrow: Any, store: Store, athlete_id: int | None, kinds: dict[str, Any]
) -> Iterator[list[Any]]:
    """The table's columns, some ten thousand rows at a time."""
    chosen = chosen_sets(store, athlete_id)
    of_sets = [
        column(pyarrow, [row[at] for row in chosen.rows], kinds[name]) for at, name in enumerate(SET_COLUMNS)
    ]
    numbering = _Numbering(chosen)
    batches = _batches(pyarrow, store, kinds)
    while some := list(itertools.islice(batches, _BATCHES_A_GROUP)):
        places, *of_reps = zip(*some, strict=True)
        place = np.concatenate(places)
        numbers, taken_out = numbering.of(place)
        taken = column(pyarrow, place, pyarrow.int64())
        yield [
            *(each.take(taken) for each in of_sets),
            column(pyarrow, numbers, kinds["rep"]),
            column(pyarrow, taken_out, kinds["taken_out"]),
            *map(pyarrow.chunked_array, of_reps),
        ]


def _batches(pyarrow: Any, store: Store, kinds: dict[str, Any]) -> Iterator[list[Any]]:
    """The place of its set and ``_CELLS`` of each rep in columns, some hundred reps at a time.

    Only that few stay in a processor's cache from the row to the column.
    """
    cells = [kinds[name] for name in HEADINGS[-_CELL_COUNT:]]
    for some in reps(store, _CELLS):
        places, *columns = zip(*some, strict=True)
        yield [
            np.array(places),
            *(column(pyarrow, values, kind) for values, kind in zip(columns, cells, strict=True)),
        ]


class _Numbering:
    """Reps' numbers in their sets, and whether they were taken out by hand, piece by piece."""

    def __init__(self, chosen: Chosen) -> None:
        self._taken_out = chosen.taken_out
        self._last, self._number = -1, 0

    def of(self, places: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Of the next reps, one or more, by their sets' places, which rise."""
        at = np.arange(len(places))
        begins = np.diff(places, prepend=self._last) != 0
        numbers = at + 1 - np.maximum.accumulate(np.where(begins, at, -self._number))
        self._last, self._number = int(places[-1]), int(numbers[-1])
        out = np.zeros(len(places), np.bool_)
        for place, taken_out in self._taken_out.items():
            low, high = np.searchsorted(places, [place, place + 1])
            out[low:high] = np.isin(numbers[low:high], list(taken_out))
        return numbers, out


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
