"""One process's hold on the store: opening, reading, writing all or nothing."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Self

from brakebeat.errors import reason
from brakebeat.store.backup import copy_database
from brakebeat.store.errors import StoreError, explained
from brakebeat.store.location import store_path
from brakebeat.store.migrate import ensure_schema

# How long a writer waits for another one: a set's worth of writing takes far less.
BUSY_TIMEOUT_S = 10.0
_BATCH = 300


class Store:
    """An open store. One per thread; any number of processes may have the same file open.

    Whatever a method has written is on the disk when it returns (WAL, synchronous FULL): a killed process or
    a power cut after that loses none of it.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self._connection = connection

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()

    def rows(self, sql: str, parameters: Sequence[Any] = ()) -> list[sqlite3.Row]:
        """All rows of a query. Raises ``StoreError``."""
        with explained(self.path):
            return self._connection.execute(sql, parameters).fetchall()

    def stream(self, sql: str, parameters: Sequence[Any] = ()) -> Iterator[tuple[Any, ...]]:
        """The rows of a query one after another, as tuples, for results too big to hold."""
        with explained(self.path):
            cursor = self._connection.cursor()
            cursor.row_factory = None
            yield from cursor.execute(sql, parameters)

    def batches(self, sql: str, parameters: Sequence[Any] = ()) -> Iterator[list[tuple[Any, ...]]]:
        """The rows of a query as tuples, some hundred at a time: few enough to stay in a processor's cache."""
        with explained(self.path):
            cursor = self._connection.cursor()
            cursor.row_factory = None
            cursor.execute(sql, parameters)
            while some := cursor.fetchmany(_BATCH):
                yield some

    def row(self, sql: str, parameters: Sequence[Any] = ()) -> sqlite3.Row | None:
        """The first row of a query, or None."""
        with explained(self.path):
            row: sqlite3.Row | None = self._connection.execute(sql, parameters).fetchone()
            return row

    def write(self, sql: str, parameters: Sequence[Any] = ()) -> int:
        """One statement inside ``writing()``; returns the id of the row that it inserted."""
        with explained(self.path):
            return self._connection.execute(sql, parameters).lastrowid or 0

    def write_many(self, sql: str, rows: Iterable[Sequence[Any]]) -> None:
        """One statement for many rows inside ``writing()``."""
        with explained(self.path):
            self._connection.executemany(sql, rows)

    def insert(self, table: str, values: dict[str, Any]) -> int:
        """A new row of ``table`` inside ``writing()``; returns its id."""
        names = ", ".join(values)
        marks = ", ".join("?" * len(values))
        return self.write(f"INSERT INTO {table} ({names}) VALUES ({marks})", tuple(values.values()))

    @contextmanager
    def writing(self) -> Iterator[None]:
        """All that is written inside takes effect together when the block ends well, or not at all.

        Blocks may be nested; the outermost one counts.
        """
        if self._connection.in_transaction:
            yield
            return
        with explained(self.path):
            self._connection.execute("BEGIN IMMEDIATE")
        try:
            yield
            with explained(self.path):
                self._connection.execute("COMMIT")
        except BaseException:
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
            raise

    @contextmanager
    def reading(self) -> Iterator[None]:
        """All queries inside see the store as it was at one moment, whoever writes meanwhile."""
        if self._connection.in_transaction:
            yield
            return
        with explained(self.path):
            self._connection.execute("BEGIN")
        try:
            yield
        finally:
            self._connection.execute("ROLLBACK")

    def copy_to(self, target: Path) -> None:
        """A copy of the whole store as it is now, whole or not at all. Raises ``StoreError``."""
        copy_database(self._connection, self.path, target)

    def faults(self) -> list[str]:
        """What SQLite's own check finds wrong with the file; empty where all is well."""
        found = [row[0] for row in self.rows("PRAGMA integrity_check") if row[0] != "ok"]
        return found + [
            f"{row[0]} row {row[1]} refers to nothing" for row in self.rows("PRAGMA foreign_key_check")
        ]


def open_store(
    path: str | os.PathLike[str] | None = None,
    *,
    create: bool = True,
    timeout_s: float = BUSY_TIMEOUT_S,
) -> Store:
    """Open the store (see ``location``), made where it is missing, brought up to date where it is older.

    Raises ``StoreError``: not a store, made by a newer Brakebeat, locked, not writable; or missing and
    ``create`` is false.
    """
    file = store_path(path)
    if not file.exists():
        if not create:
            raise StoreError(
                f"{file}: there is no store yet; `brakebeat import FILE --athlete NAME --exercise NAME` makes one"
            )
        _make_file(file)
    with explained(file):
        connection = sqlite3.connect(file, timeout=timeout_s, isolation_level=None)
        connection.row_factory = sqlite3.Row
        try:
            ensure_schema(connection, file)
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
        except BaseException:
            connection.close()
            raise
    return Store(file, connection)


def _make_file(file: Path) -> None:
    """An empty file that only its owner may read: what is in it is nobody else's business."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        os.close(os.open(file, os.O_CREAT | os.O_RDWR, 0o600))
    except (OSError, ValueError) as error:
        raise StoreError(
            f"{file}: cannot be made ({reason(error)}); choose another place with --store"
        ) from error
