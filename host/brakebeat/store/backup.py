"""A copy of a store while others may be writing to it."""

from __future__ import annotations

import errno
import os
import sqlite3
from pathlib import Path

from brakebeat.formats.atomic import replacing
from brakebeat.store.errors import explained


def copy_database(source: sqlite3.Connection, path: Path, target: Path) -> None:
    """Copy the database behind ``source`` (the store at ``path``) to ``target``, whole or not at all.

    The copy is on the disk when this returns. Raises ``InputError`` where it cannot be written.
    """
    with replacing(target) as unfinished, explained(path):
        copy = sqlite3.connect(unfinished)
        try:
            source.backup(copy)
            # A plain file without a log beside it.
            copy.execute("PRAGMA journal_mode = DELETE")
        except sqlite3.OperationalError as error:
            # Only the copy grows: it is the place that is named, not the store.
            if error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_FULL:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)) from error
            raise
        finally:
            copy.close()
        handle = os.open(unfinished, os.O_RDWR)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
