"""A file is either the whole new one or the old one, never half of one."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from brakebeat.errors import InputError


@contextmanager
def atomic_write(path: str | os.PathLike[str]) -> Iterator[BinaryIO]:
    """A binary file that takes ``path``'s place when the block ends well, and vanishes when it does not.

    Raises ``InputError`` naming the path where it cannot be written.
    """
    target = Path(path)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    except OSError as error:
        raise _unwritable(target, error) from error
    try:
        with os.fdopen(handle, "wb") as stream:
            yield stream
        # mkstemp makes the file private; a written recording has the rights that any new file has.
        Path(name).chmod(0o666 & ~_umask())
        os.replace(name, target)
    except OSError as error:
        raise _unwritable(target, error) from error
    finally:
        with suppress(FileNotFoundError):
            Path(name).unlink()


def _umask() -> int:
    # There is no way to read it but to set it.
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def _unwritable(target: Path, error: OSError) -> InputError:
    return InputError(f"{target}: cannot be written ({error.strerror or error}); choose another place")
