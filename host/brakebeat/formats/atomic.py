"""A file is either the whole new one or the old one, never half of one."""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from brakebeat.errors import InputError, reason


@contextmanager
def replacing(path: str | os.PathLike[str]) -> Iterator[Path]:
    """An empty file to fill: it takes ``path``'s place when the block ends well, else it vanishes.

    Where ``path`` is a symbolic link, the file that it leads to is replaced, in its own folder, and the link stays.
    Raises ``InputError`` naming ``path`` where it cannot be written, and where a device or a pipe has that name: it
    would be replaced, not written to.
    """
    target = real_place(path)
    unfinished = _begun(path, target)
    try:
        yield unfinished
        # mkstemp makes the file private; what we leave has the rights that any new file has.
        unfinished.chmod(0o666 & ~_umask())
        unfinished.replace(target)
    except OSError as error:
        raise _unwritable(path, error) from error
    finally:
        unfinished.unlink(missing_ok=True)


def check_place(path: str | os.PathLike[str]) -> None:
    """Raises ``InputError`` where no file could be written at ``path``: for what takes long before it writes."""
    target = real_place(path)
    if not target.parent.is_dir():
        led_here = f"{path}: it is a link into " if Path(path).is_symlink() else ""
        raise InputError(f"{led_here}{target.parent}: no such folder; make it first")
    _begun(path, target).unlink()


@contextmanager
def atomic_write(path: str | os.PathLike[str]) -> Iterator[BinaryIO]:
    """Like ``replacing``, with the unfinished file opened for bytes."""
    with replacing(path) as unfinished, unfinished.open("wb") as stream:
        yield stream


def real_place(path: str | os.PathLike[str]) -> Path:
    """Where the file lies that writing to ``path`` means: at the end of its links, ``path`` itself without any.

    Nothing needs to lie there yet. Raises ``InputError`` where links lead in a circle.
    """
    try:
        if not Path(path).is_symlink():
            return Path(path)
        target = Path(os.path.realpath(path))
        if target.is_symlink():
            raise OSError(errno.ELOOP, os.strerror(errno.ELOOP))
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from error
    return target


def _begun(path: str | os.PathLike[str], target: Path) -> Path:
    """An empty file beside ``target``, which ``path`` names in what is raised."""
    try:
        if target.is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        if target.exists() and not target.is_file():
            raise InputError(
                f"{path}: cannot be written (it is a device or a pipe, no file); choose another place"
            )
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from error
    os.close(handle)
    return Path(name)


def _umask() -> int:
    # There is no way to read it but to set it.
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def _unwritable(path: str | os.PathLike[str], error: OSError | ValueError) -> InputError:
    return InputError(f"{os.fspath(path)}: cannot be written ({reason(error)}); choose another place")
