"""A bar on standard error while many recordings are worked through, where somebody looks."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def counting(what: str, total: int) -> Iterator[Callable[[], None]]:
    """To be called as each of ``total`` is done."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeElapsedColumn

    progress = Progress(
        what,
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty() or total == 1,
    )
    with progress:
        task = progress.add_task(what, total=total)
        yield lambda: progress.advance(task)
