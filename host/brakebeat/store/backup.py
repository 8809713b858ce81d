"""A copy of a store while others may be writing to it."""

from __future__ import annotations

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
        finally:
            copy.close()
        handle = os.open(unfinished, os.O_RDWR)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
