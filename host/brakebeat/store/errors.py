"""What can be wrong with a store, in words for the person at the keyboard."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from brakebeat.errors import InputError


class StoreError(InputError):
    """The store cannot be used as asked; the message names its file, what was wrong and what to do."""


@contextmanager
def explained(path: Path) -> Iterator[None]:
    """Turns SQLite's errors into a ``StoreError`` about the store at ``path``."""
    try:
        yield
    except sqlite3.Error as error:
        raise StoreError(f"{path}: {_words(error)}") from error
    except UnicodeEncodeError as error:
        # Bytes of a command line that Python could not decode travel on as lone surrogates.
        raise InputError(
            f"{error.object!a}: holds bytes that are no text in this terminal's encoding; type it anew where the "
            "locale is a UTF-8 one (LC_ALL=C.UTF-8)"
        ) from error


def _words(error: sqlite3.Error) -> str:
    code = getattr(error, "sqlite_errorcode", None)
    # The low byte is the kind; what is above it only tells kinds apart.
    kind = None if code is None else code & 0xFF
    if kind in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return "is being written by another process; let that finish, then try again"
    if kind == sqlite3.SQLITE_READONLY:
        return "is read-only; give yourself the right to write to the file and its folder, or use --store"
    if kind in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return "cannot be opened; check the name and the rights to the file and its folder, or use --store"
    if kind == sqlite3.SQLITE_NOTADB:
        return "is not a store of Brakebeat; choose another file with --store"
    if kind == sqlite3.SQLITE_CORRUPT:
        return (
            f"is damaged ({error}); go back to a backup (beside it, *.backup) and keep this file for repair"
        )
    if kind == sqlite3.SQLITE_CONSTRAINT:
        named = re.search(r"UNIQUE constraint failed: (athlete|exercise)\.name", str(error))
        what = (
            f"{'an' if named[1][0] in 'ae' else 'a'} {named[1]} of that name"
            if named
            else f"one like it ({error})"
        )
        return f"already has {what}; rename or delete one of the two first"
    if kind == sqlite3.SQLITE_FULL:
        return "cannot grow, the disk is full; make room, nothing that was stored is lost"
    if kind == sqlite3.SQLITE_IOERR:
        return f"cannot be read or written ({error}); check the disk it is on"
    return f"refused ({error})"
