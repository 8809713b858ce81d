"""Check many recordings at once, a process per core."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Sequence
from concurrent.futures import as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from brakebeat.check.compare import FileReport, compare
from brakebeat.check.limits import Limits
from brakebeat.errors import BrakebeatError
from brakebeat.pools import fresh_pool, interrupt_held, usable_cores

Engine = Literal["auto", "micropython", "cpython"]
Outcome = FileReport | BrakebeatError


@dataclass(frozen=True)
class Job:
    """What every file of one call is checked with; travels to the worker processes."""

    limits: Limits
    rig_file: Path | None = None
    engine: Engine = "auto"


def check_file(file: str, job: Job) -> FileReport:
    """Run both engines over a recording (or `sample:NAME`); ``InputError`` where it cannot be read."""
    from brakebeat.board import replay
    from brakebeat.formats.recording import read_recording
    from brakebeat.reference import analyse
    from brakebeat.samples import resolve

    recording = read_recording(resolve(file), job.rig_file)
    return compare(replay(recording, engine=job.engine), analyse(recording), job.limits, file)


def check_files(
    files: Sequence[str], job: Job, jobs: int | None = None, done: Callable[[], None] = lambda: None
) -> list[Outcome]:
    """Check ``files`` with up to ``jobs`` processes (default: every core this process may use).

    Gives a report, or the error that a file raised, per file in the order of ``files``; ``done`` is called
    as each gets ready. Ends its workers when interrupted.
    """
    workers = min(len(files), jobs or usable_cores())
    if workers <= 1:
        return [_alone(file, job, done) for file in files]
    others = set(multiprocessing.active_children())
    pool = fresh_pool(workers)
    try:
        with interrupt_held():
            futures = [pool.submit(_outcome, file, job) for file in files]
        for _ in as_completed(futures):
            done()
        return [future.result() for future in futures]
    except BrokenProcessPool as error:
        raise BrakebeatError("a worker process died (out of memory?); try again with --jobs 1") from error
    except BaseException:
        for child in set(multiprocessing.active_children()) - others:
            child.terminate()
        raise
    finally:
        # Waits for the workers: they have nothing left to do, or have just been told to go.
        pool.shutdown(cancel_futures=True)


def _alone(file: str, job: Job, done: Callable[[], None]) -> Outcome:
    outcome = _outcome(file, job)
    done()
    return outcome


def _outcome(file: str, job: Job) -> Outcome:
    try:
        return check_file(file, job)
    except BrakebeatError as error:
        return error
