"""Brings a store up to this program's schema: numbered steps, a backup first, all of them or none."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from brakebeat.store.backup import copy_database
from brakebeat.store.errors import StoreError

# "Brkb": in the file's header, so that `file` and we can tell a store from any other SQLite file.
APPLICATION_ID = 0x42726B62
_FOLDER = Path(__file__).parent / "migrations"


@dataclass(frozen=True)
class Migration:
    """One step of the schema: it takes a store from ``number`` - 1 to ``number``."""

    number: int
    sql: str


def migrations() -> list[Migration]:
    """All steps, in order: the files ``NNNN_name.sql``."""
    found = []
    for path in sorted(_FOLDER.glob("*.sql")):
        number = re.match(r"\d{4}", path.name)
        assert number is not None, path
        found.append(Migration(int(number[0]), path.read_text(encoding="utf-8")))
    return found


def ensure_schema(
    connection: sqlite3.Connection, path: Path, steps: Sequence[Migration] | None = None
) -> Path | None:
    """Run the steps that the store lacks; returns the backup that was made before, if any.

    Safe where several processes do it at once. Raises ``StoreError`` for what is not a store or is newer,
    ``sqlite3.Error`` for what SQLite refuses; the store is then as it was.
    """
    wanted = migrations() if steps is None else list(steps)
    if _version(connection, path, wanted[-1].number) == wanted[-1].number:
        return None
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Another process may have been quicker.
        version = _version(connection, path, wanted[-1].number)
        backup = _backup(path, version) if 0 < version < wanted[-1].number else None
        for step in wanted[version:]:
            for statement in _statements(step.sql):
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {wanted[-1].number}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
    return backup


def _version(connection: sqlite3.Connection, path: Path, newest: int) -> int:
    # One statement sees one moment: another process may be making the store right now.
    application, version, tables = connection.execute(
        "SELECT application_id, user_version, (SELECT count(*) FROM sqlite_master)"
        " FROM pragma_application_id, pragma_user_version"
    ).fetchone()
    if application != APPLICATION_ID:
        if application or version or tables:
            raise StoreError(f"{path}: is a database of another program; choose another file with --store")
        return 0
    assert isinstance(version, int)
    if version > newest:
        raise StoreError(
            f"{path}: was made by a newer Brakebeat (schema {version}, this one knows {newest}); "
            "update Brakebeat, nothing was changed"
        )
    return version


def _backup(path: Path, version: int) -> Path:
    target = path.with_name(f"{path.name}.schema{version}.backup")
    count = 1
    while target.exists():
        count += 1
        target = path.with_name(f"{path.name}.schema{version}-{count}.backup")
    # A connection of its own: it sees what is committed, while ours keeps other writers out.
    source = sqlite3.connect(path)
    try:
        copy_database(source, path, target)
    finally:
        source.close()
    return target


def _statements(sql: str) -> Iterator[str]:
    """One statement after another (`executescript` would end our transaction)."""
    statement = ""
    for line in sql.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""
    if statement.strip():
        yield statement
