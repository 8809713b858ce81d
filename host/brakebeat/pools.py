"""Processes that share out work: how many, how they start, how they end."""

from __future__ import annotations

import multiprocessing
import multiprocessing.connection
import os
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager


def usable_cores() -> int:
    """Cores that this process may run on (fewer than the machine has inside a container or under taskset)."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def fresh_pool(workers: int) -> ProcessPoolExecutor:
    """A pool of processes that go quietly when interrupted; submit to it under ``interrupt_held``.

    Fresh processes: forking one that already runs threads (a progress bar) can deadlock.
    """
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(workers, mp_context=context, initializer=_begin)


# Ctrl-C reaches the whole process group: a worker just goes, the parent alone has words for it. A worker that
# still starts up would answer with a traceback, so it starts with the signal held back until it is ready.


@contextmanager
def interrupt_held() -> Iterator[None]:
    """Processes that are started in this block do not hear Ctrl-C until they are ready."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin() -> None:
    """First thing in a worker."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})


def _end_with_parent() -> None:
    """A parent that is killed tells nobody; its workers would wait for work for ever."""
    parent = multiprocessing.parent_process()
    assert parent is not None
    multiprocessing.connection.wait([parent.sentinel])
    os._exit(1)
