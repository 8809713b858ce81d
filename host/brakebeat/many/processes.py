"""Tasks done on this computer: in this process, or in one process a core."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Generator, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import closing, contextmanager
from functools import partial
from itertools import islice

from brakebeat.many.work import Answer, Fault, Order, Runner, Task, work
from brakebeat.pools import fresh_pool, interrupt_held

# So many tasks wait for each process: enough that none idles, few enough that recordings need no memory.
_AHEAD = 2
_TRIES_ALONE = 2


@contextmanager
def here(order: Order, tasks: Iterator[Task]) -> Iterator[Iterator[tuple[Task, Answer]]]:
    """A ``Runner`` in this process."""
    yield ((task, work(order, task)) for task in tasks)


def in_processes(workers: int) -> Runner:
    """A ``Runner`` in so many processes."""

    @contextmanager
    def runner(order: Order, tasks: Iterator[Task]) -> Iterator[Iterator[tuple[Task, Answer]]]:
        with closing(_shared_out(partial(work, order), tasks, workers)) as answers:
            yield answers

    return runner


def _shared_out(
    do: Callable[[Task], Answer], tasks: Iterator[Task], workers: int
) -> Generator[tuple[Task, Answer], None, None]:
    others = set(multiprocessing.active_children())
    pool = fresh_pool(workers)
    flying: dict[Future[Answer], Task] = {}
    try:
        while True:
            lost = _submitted(pool, do, islice(tasks, _AHEAD * workers - len(flying)), flying)
            if not flying and not lost:
                return
            for future in wait(flying, return_when=FIRST_COMPLETED).done:
                task = flying.pop(future)
                try:
                    yield task, future.result()
                except BrokenProcessPool:
                    lost.append(task)
            if lost:
                # Whoever was under way is lost with the pool; one of them may be the reason.
                lost += flying.values()
                flying.clear()
                pool.shutdown()
                pool = fresh_pool(workers)
                for task in lost:
                    yield task, _alone(do, task)
    except BaseException:
        for child in set(multiprocessing.active_children()) - others:
            child.terminate()
        raise
    finally:
        # Waits for the workers: they have nothing left to do, or have just been told to go.
        pool.shutdown(cancel_futures=True)


def _submitted(
    pool: ProcessPoolExecutor,
    do: Callable[[Task], Answer],
    tasks: Iterator[Task],
    flying: dict[Future[Answer], Task],
) -> list[Task]:
    """Hands tasks to the pool; returns those that it does not take because a process of it has died."""
    for task in tasks:
        try:
            with interrupt_held():
                flying[pool.submit(do, task)] = task
        except BrokenProcessPool:
            return [task]
    return []


def _alone(do: Callable[[Task], Answer], task: Task) -> Answer:
    """A task in a process of its own, so that a death is its own too."""
    for _ in range(_TRIES_ALONE):
        with fresh_pool(1) as pool:
            with interrupt_held():
                future = pool.submit(do, task)
            try:
                return future.result()
            except BrokenProcessPool:
                continue
    return Answer(
        fault=Fault(
            f"{task.name}: the process that worked it out died, {_TRIES_ALONE} times by itself (out of memory?); "
            "cut the recording, or take a computer with more memory"
        )
    )
