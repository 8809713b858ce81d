"""Works a list of recordings through: what is kept is taken, the rest is done, each result kept as it comes."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from brakebeat.errors import BrakebeatError, unreadable
from brakebeat.many.folder import ResultsFolder
from brakebeat.many.version import EngineName
from brakebeat.many.work import Answer, Fault, Order, Runner, Task, digest_of
from brakebeat.results import Analysis
from brakebeat.samples import resolve


@dataclass(frozen=True)
class Found:
    """One recording of the call: its digest and documents, or why there are none.

    ``kept``: it was in the folder already. Documents are read anew each time where there is a folder, so that
    thousands of them need no memory.
    """

    name: str
    digest: str = ""
    fault: Fault | None = None
    kept: bool = False
    documents: dict[EngineName, str] = field(default_factory=dict, repr=False)
    folder: ResultsFolder | None = field(default=None, repr=False)

    def document(self, engine: EngineName) -> dict[str, Any]:
        """What is kept of an engine's answer, the analysis and the recording's header among it."""
        text = self.documents.get(engine)
        if text is None:
            assert self.folder is not None
            text = self.folder.read(engine, self.digest)
        document: dict[str, Any] = json.loads(text)
        return document

    def analysis(self, engine: EngineName) -> Analysis:
        """An engine's answer."""
        return Analysis.from_document(self.document(engine)["analysis"])


def work_through(
    names: Sequence[str],
    order: Order,
    runner: Runner,
    folder: ResultsFolder | None = None,
    done: Callable[[], None] = lambda: None,
) -> list[Found]:
    """What came of each recording, in the order of ``names``; ``done`` is called as each gets ready.

    An exception (Ctrl-C, a full disk, a cluster that is gone) leaves in ``folder`` what was ready by then, and the
    same call goes on from there.
    """
    found: dict[int, Found] = {}

    def note(place: int, outcome: Found) -> None:
        found[place] = outcome
        done()

    with runner(order, _tasks(names, order, folder, note)) as answers:
        for task, answer in answers:
            note(task.place, _found(task, answer, folder))
    return [found[place] for place in range(len(names))]


def _tasks(
    names: Sequence[str], order: Order, folder: ResultsFolder | None, note: Callable[[int, Found], None]
) -> Iterator[Task]:
    """What is left to do; what is not is noted."""
    for place, name in enumerate(names):
        try:
            data = _read(name)
        except BrakebeatError as error:
            note(place, Found(_shown(name), fault=Fault(_shown(str(error)), error.exit_code)))
            continue
        digest = digest_of(data)
        wanted = order.engines
        if folder is not None:
            wanted = tuple(engine for engine in wanted if not folder.has(engine, digest))
        if wanted:
            yield Task(place, _shown(name), data, wanted)
        else:
            note(place, Found(_shown(name), digest, kept=True, folder=folder))


def _shown(name: str) -> str:
    """A name whose bytes are no UTF-8 cannot be printed or stored as it is."""
    return name.encode(errors="surrogateescape").decode(errors="replace")


def _read(name: str) -> bytes:
    path = resolve(name)
    try:
        return path.read_bytes()
    except (OSError, ValueError) as error:
        raise unreadable(name, error) from error


def _found(task: Task, answer: Answer, folder: ResultsFolder | None) -> Found:
    digest = digest_of(task.data)
    if folder is None:
        return Found(task.name, digest, answer.fault, documents=answer.documents)
    for engine, text in answer.documents.items():
        folder.write(engine, digest, text)
    return Found(task.name, digest, answer.fault, folder=folder)
