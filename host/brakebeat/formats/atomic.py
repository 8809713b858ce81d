"""A file is either the whole new one or the old one, never half of one."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from brakebeat.errors import InputError


@contextmanager
def replacing(path: str | os.PathLike[str]) -> Iterator[Path]:
    """An empty file to fill: it takes ``path``'s place when the block ends well, else it vanishes.

    Raises ``InputError`` naming ``path`` where it cannot be written.
    """
    target = Path(path)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    except (OSError, ValueError) as error:
        raise _unwritable(target, error) from error
    os.close(handle)
    unfinished = Path(name)
    try:
        yield unfinished
        # mkstemp makes the file private; what we leave has the rights that any new file has.
        unfinished.chmod(0o666 & ~_umask())
        unfinished.replace(target)
    except OSError as error:
        raise _unwritable(target, error) from error
    finally:
        unfinished.unlink(missing_ok=True)


@contextmanager
def atomic_write(path: str | os.PathLike[str]) -> Iterator[BinaryIO]:
    """Like ``replacing``, with the unfinished file opened for bytes."""
    with replacing(path) as unfinished, unfinished.open("wb") as stream:
        yield stream


def _umask() -> int:
    # There is no way to read it but to set it.
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def _unwritable(target: Path, error: OSError | ValueError) -> InputError:
    reason = getattr(error, "strerror", None) or error
    return InputError(f"{target}: cannot be written ({reason}); choose another place")
