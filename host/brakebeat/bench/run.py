"""Runs sets over all cores, with a progress bar where somebody looks."""

from __future__ import annotations

import multiprocessing
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from typing import TypeVar

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from brakebeat.threads import one_thread_each

Task = TypeVar("Task")
Result = TypeVar("Result")


def run_all(work: Callable[[Task], Result], tasks: Sequence[Task], jobs: int, title: str) -> list[Result]:
    """``work`` on every task, in ``jobs`` processes (1: in this one); results in the tasks' order."""
    with _progress(title, len(tasks)) as done_one:
        if jobs <= 1 or len(tasks) <= 1:
            results = []
            for task in tasks:
                results.append(work(task))
                done_one()
            return results
        return _in_processes(work, tasks, jobs, done_one)


def _in_processes(
    work: Callable[[Task], Result], tasks: Sequence[Task], jobs: int, done_one: Callable[[], None]
) -> list[Result]:
    one_thread_each()
    # Spawned, not forked: a forked process would have this one's threads half-way through something.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(jobs, context) as pool:
        futures = [pool.submit(work, task) for task in tasks]
        try:
            for future in as_completed(futures):
                future.result()
                done_one()
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
        return [future.result() for future in futures]


@contextmanager
def _progress(title: str, total: int) -> Iterator[Callable[[], None]]:
    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda: None
        return
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True) as progress:
        task = progress.add_task(title, total=total)
        yield lambda: progress.advance(task)


def warn(text: str) -> None:
    """A line on standard error."""
    print(text, file=sys.stderr)
