"""Tasks done on a Dask cluster: recordings travel to its workers and documents back, no disk need be shared.

Dask does a task again elsewhere when the worker that had it dies. What a worker must have is checked before: the
same code and libraries, so that it gives the same bits.
"""

from __future__ import annotations

import logging
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from itertools import islice
from typing import Any, TypeVar

from brakebeat.errors import BrakebeatError, DeviceError, InputError
from brakebeat.many.version import EngineName, versions_of
from brakebeat.many.work import Answer, Fault, Order, Task, work

T = TypeVar("T")

_CONNECT_S = 15.0
# How long a cluster may be without any worker before the call gives up; what is done is kept.
PATIENCE_S = 60.0
_AHEAD = 2


@dataclass(frozen=True)
class Cluster:
    """A ``Runner`` on the cluster whose scheduler listens at ``address`` ("tcp://host:8786")."""

    address: str
    patience_s: float = PATIENCE_S
    look_every_s: float = 10.0

    @contextmanager
    def __call__(self, order: Order, tasks: Iterator[Task]) -> Iterator[Iterable[tuple[Task, Answer]]]:
        """See ``Runner``.

        Raises:
            InputError: Dask is not installed here, the address is none, or a worker runs other code.
            DeviceError: no scheduler answers, or the cluster is gone.
        """
        distributed = _distributed_library()
        client = _connected(distributed, self.address)
        try:
            with _silent(), warnings.catch_warnings(), client.as_current():
                # A recording of megabytes within a task is what is meant here.
                warnings.filterwarnings("ignore", message="Sending large graph")
                self._await_workers(client)
                self._ask(lambda: _check_versions(client, order))
                yield self._done(distributed, client, order, tasks)
        finally:
            client.close(timeout=5)

    def _ask(self, question: Callable[[], T]) -> T:
        try:
            return question()
        except OSError as error:
            raise self._gone(str(error)) from error

    def _await_workers(self, client: Any) -> None:
        try:
            client.wait_for_workers(1, timeout=max(self.patience_s, _CONNECT_S))
        except TimeoutError as error:
            raise self._deserted() from error

    def _threads(self, client: Any) -> int:
        """How many tasks the cluster does at once just now."""
        return self._ask(lambda: sum(client.nthreads().values()))

    def _done(
        self, distributed: Any, client: Any, order: Order, tasks: Iterator[Task]
    ) -> Iterator[tuple[Task, Answer]]:
        flying: dict[Any, Task] = {}
        do = partial(_on_worker, order)
        while True:
            room = _AHEAD * max(1, self._threads(client)) - len(flying)
            for task in islice(tasks, max(0, room)):
                flying[client.submit(do, task, pure=False)] = task
            if not flying:
                return
            for future in self._some_ready(distributed, client, list(flying)):
                task = flying.pop(future)
                yield task, self._ask(partial(_answer, distributed, future, task))

    def _some_ready(self, distributed: Any, client: Any, futures: list[Any]) -> list[Any]:
        deserted_s = 0.0
        while True:
            try:
                return list(
                    distributed.wait(futures, timeout=self.look_every_s, return_when="FIRST_COMPLETED").done
                )
            except TimeoutError:
                deserted_s = 0.0 if self._threads(client) else deserted_s + self.look_every_s
                if deserted_s >= self.patience_s:
                    raise self._deserted() from None
            except CancelledError as error:
                raise self._gone("the connection is lost") from error

    def _deserted(self) -> DeviceError:
        return DeviceError(
            f"--scheduler {self.address}: no worker for {self.patience_s:g} s; start some "
            f"(`dask worker {self.address}`), then do the same call again"
        )

    def _gone(self, reason: str) -> DeviceError:
        return DeviceError(
            f"--scheduler {self.address}: the cluster does not answer any more ({reason}); what was done "
            "until then is kept where --out says, the same call goes on from there"
        )


@contextmanager
def _silent() -> Iterator[None]:
    """Dask would tell of every lost connection itself, at length; who calls has one sentence for it."""
    loggers = [logging.getLogger(name) for name in ("distributed", "distributed.client", "distributed.comm")]
    levels = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        for logger, level in zip(loggers, levels, strict=True):
            logger.setLevel(level)


def _distributed_library() -> Any:
    try:
        import distributed
        import threadpoolctl  # noqa: F401 - the workers need it
    except ImportError as error:
        raise InputError(
            "--scheduler needs Dask, which is not installed: pip install 'brakebeat[dask]', here and where the "
            "workers run"
        ) from error
    return distributed


def _connected(distributed: Any, address: str) -> Any:
    try:
        return distributed.Client(address, timeout=_CONNECT_S, set_as_default=False)
    except (OSError, TimeoutError) as error:
        raise DeviceError(
            f"--scheduler {address}: no scheduler answers there ({error}); start one (`dask scheduler`) and "
            "give the address that it prints"
        ) from error
    except (ValueError, TypeError) as error:
        raise InputError(
            f"--scheduler {address}: this is no address ({error}); one looks like tcp://HOST:8786"
        ) from error


def _check_versions(client: Any, order: Order) -> None:
    """Ask every worker which code it would run. Raises ``InputError`` for one that has other code, or none."""
    answers: Mapping[str, Any] = client.run(versions_of, order.engines, on_error="return")
    for worker, answer in answers.items():
        if isinstance(answer, BaseException):
            raise InputError(
                f"worker {worker} cannot do the work ({type(answer).__name__}: {answer}); "
                "pip install 'brakebeat[dask]' there, in the version that is here"
            )
        _same_versions(order.versions, answer, worker)


def _same_versions(wanted: Mapping[EngineName, str], there: Mapping[EngineName, str], where: str) -> None:
    other = [engine for engine in wanted if there[engine] != wanted[engine]]
    if other:
        raise InputError(
            f"worker {where} runs another {other[0]} than this computer (other code, libraries or kind of "
            "computer) and might give other figures; install the same versions there"
        )


def _on_worker(order: Order, task: Task) -> Answer:
    """Runs on a worker, perhaps one that joined later: look again whether it has the right code."""
    from threadpoolctl import threadpool_limits

    _same_versions(order.versions, versions_of(order.engines), "that joined the cluster")
    # As everywhere: sums shared out among threads round otherwise.
    with threadpool_limits(1):
        return work(order, task)


def _answer(distributed: Any, future: Any, task: Task) -> Answer:
    if future.status == "finished":
        answer: Answer = future.result()
        return answer
    error = future.exception()
    if isinstance(error, distributed.KilledWorker):
        words = (
            f"{task.name}: every worker that worked it out died (out of memory?); take more memory for each"
        )
        return Answer(fault=Fault(words))
    if isinstance(error, BrakebeatError):
        raise error
    raise DeviceError(f"the cluster failed on {task.name} ({type(error).__name__}: {error})") from error
