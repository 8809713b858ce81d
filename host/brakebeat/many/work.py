"""What is done with one recording, in whichever process: bytes in, JSON text by engine out, never an exception."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from typing import Protocol

from brakebeat.errors import BrakebeatError
from brakebeat.formats.recording import Recording, parse_recording
from brakebeat.formats.rig_model import Rig
from brakebeat.many.version import EngineName
from brakebeat.results import SCHEMA, Analysis


@dataclass(frozen=True)
class Order:
    """What is asked of every recording of one call, and which code is to do it; travels to the workers."""

    versions: dict[EngineName, str]
    rig: Rig | None = None

    @property
    def engines(self) -> tuple[EngineName, ...]:
        """The engines that are to run."""
        return tuple(self.versions)

    def key(self, engine: EngineName) -> str:
        """A digest of all but the recording that an engine's answer depends on."""
        rig = "" if self.rig is None else self.rig.model_dump_json(exclude_unset=True)
        return hashlib.sha256(f"{self.versions[engine]}\n{rig}".encode()).hexdigest()[:16]


@dataclass(frozen=True)
class Task:
    """One recording's content, and what of it is wanted; ``place`` is its place in the call."""

    place: int
    name: str
    data: bytes = field(repr=False)
    engines: tuple[EngineName, ...]


@dataclass(frozen=True)
class Fault:
    """Why a recording gave nothing, in words for the user, with the exit code that goes with it."""

    words: str
    exit_code: int = BrakebeatError.exit_code


@dataclass(frozen=True)
class Answer:
    """The documents of the engines that are done, and what stopped the others."""

    documents: dict[EngineName, str] = field(default_factory=dict)
    fault: Fault | None = None


class Runner(Protocol):
    """Does tasks somewhere and gives them back, each with its answer, in the order in which they get ready."""

    def __call__(
        self, order: Order, tasks: Iterator[Task]
    ) -> AbstractContextManager[Iterable[tuple[Task, Answer]]]:
        """What is left undone when the block is left is dropped."""


def work(order: Order, task: Task) -> Answer:
    """The documents of one recording. A recording that is bad, or that an engine breaks down on, is a fault."""
    documents: dict[EngineName, str] = {}
    doing = "reader"
    try:
        recording = parse_recording(task.data, task.name, order.rig)
        for engine in task.engines:
            doing = engine
            documents[engine] = _document(engine, recording, order, digest_of(task.data))
    except BrakebeatError as error:
        return Answer(documents, Fault(str(error), error.exit_code))
    except Exception as error:  # a fault of ours, and no reason to lose the thousands of others
        words = f"{task.name}: the {doing} broke down ({type(error).__name__}: {error}); please report it"
        return Answer(documents, Fault(f"{words} with this recording"))
    return Answer(documents)


def digest_of(data: bytes) -> str:
    """What a recording is known by: SHA-256 of the file, in hex."""
    return hashlib.sha256(data).hexdigest()


def _document(engine: EngineName, recording: Recording, order: Order, digest: str) -> str:
    document = {
        "schema": SCHEMA,
        "recording_sha256": digest,
        "engine_version": order.versions[engine],
        "header": recording.header,
        "analysis": _analysed(engine, recording).to_document(),
    }
    return json.dumps(document, allow_nan=False) + "\n"


def _analysed(engine: EngineName, recording: Recording) -> Analysis:
    # Imported where they run: a call that finds all results kept needs neither.
    if engine == "reference":
        from brakebeat.reference import analyse

        return analyse(recording)
    from brakebeat.board import replay

    return replay(recording, engine=engine)
