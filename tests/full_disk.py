"""A disk without room, for tests that are not root."""

import resource
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def no_file_longer_than(limit_bytes: int) -> Iterator[None]:
    """A file that may not grow stands for a full disk, which only root could make."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
