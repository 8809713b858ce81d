"""The results of a call as a Parquet dataset: a folder a table, partitioned by engine as pandas, Polars, DuckDB,
Spark and the like read it (``engine=reference/part-0.parquet``)."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

from brakebeat.errors import InputError, reason
from brakebeat.many.columns import TABLES, Column
from brakebeat.many.rows import Row

_ROWS_A_PART = 1 << 16


def parquet_library() -> Any:
    """pyarrow. Raises ``InputError`` where it is missing."""
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError as error:
        raise InputError(
            "the Parquet dataset needs pyarrow, which is not installed: pip install 'brakebeat[parquet]', or leave "
            "the dataset out with --no-parquet"
        ) from error
    return pyarrow


class Dataset:
    """Takes rows and writes them in parts; made by ``writing``."""

    def __init__(self, folder: Path, tables: Mapping[str, Sequence[str]]) -> None:
        self._pyarrow = parquet_library()
        self._folder = folder
        # A table without rows still gets a part, so that whoever reads it finds its columns.
        self._rows: dict[tuple[str, str], list[Row]] = {
            (table, engine): [] for table, engines in tables.items() for engine in engines
        }
        self._parts = dict.fromkeys(self._rows, 0)

    def add(self, table: str, row: Row, engine: str = "") -> None:
        """One more row of a table, in the engine's partition where it has one."""
        rows = self._rows[table, engine]
        rows.append(row)
        if len(rows) >= _ROWS_A_PART:
            self._write(table, engine)

    def close(self) -> None:
        """Write what is left."""
        for (table, engine), rows in self._rows.items():
            if rows or not self._parts[table, engine]:
                self._write(table, engine)

    def _write(self, table: str, engine: str) -> None:
        number = self._parts[table, engine]
        self._parts[table, engine] += 1
        folder = self._folder / table / f"engine={engine}" if engine else self._folder / table
        folder.mkdir(parents=True, exist_ok=True)
        schema = _schema(self._pyarrow, TABLES[table])
        rows = self._rows[table, engine]
        self._pyarrow.parquet.write_table(
            self._pyarrow.Table.from_pylist(rows, schema=schema), folder / f"part-{number}.parquet"
        )
        rows.clear()


@contextmanager
def writing(folder: Path, tables: Mapping[str, Sequence[str]]) -> Iterator[Dataset]:
    """A dataset that takes ``folder``'s place when the block ends well; else all stays as it was.

    ``tables`` of ``columns.TABLES``, each with its engines ("" for a table that is not partitioned).

    Raises ``InputError`` where it cannot be written.
    """
    with ExitStack() as stack:
        try:
            made = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", suffix=".part", dir=folder.parent))
            stack.callback(shutil.rmtree, made, ignore_errors=True)
            new = made / "new"
            new.mkdir()
            dataset = Dataset(new, tables)
            yield dataset
            dataset.close()
            if folder.exists():
                folder.rename(made / "old")
            new.rename(folder)
        except OSError as error:
            raise InputError(
                f"{folder}: cannot be written ({reason(error)}); make room or choose another place"
            ) from error


def _schema(pyarrow: Any, columns: tuple[Column, ...]) -> Any:
    kinds = {
        "text": pyarrow.string(),
        "whole": pyarrow.int64(),
        "number": pyarrow.float64(),
        "truth": pyarrow.bool_(),
        "texts": pyarrow.list_(pyarrow.string()),
        "map": pyarrow.map_(pyarrow.string(), pyarrow.string()),
    }
    fields = [
        pyarrow.field(one.name, kinds[one.kind], metadata={"unit": one.unit, "meaning": one.meaning})
        for one in columns
    ]
    return pyarrow.schema(fields)
