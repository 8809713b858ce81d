"""The folder in which a call keeps its results: a file for each recording and engine, written whole or not at all.

``ENGINE/ab/abcd….KEY.json``: the recording's SHA-256, then ``Order.key``. So a result is found again for the same
content under whatever name, and never taken for another rig's or for that of older code. Any number of processes
may write into the same folder.
"""

from __future__ import annotations

import json
from pathlib import Path

from brakebeat.errors import InputError, reason
from brakebeat.formats.atomic import atomic_write
from brakebeat.many.version import EngineName
from brakebeat.many.work import Order
from brakebeat.results import SCHEMA

MARK = "brakebeat-results.json"


class ResultsFolder:
    """The results kept in ``path``, made where it is missing.

    Raises ``InputError`` where it cannot be made, or holds other things.
    """

    def __init__(self, path: Path, order: Order) -> None:
        self.path = path
        self._order = order
        self._make()

    def _make(self) -> None:
        mark = self.path / MARK
        try:
            self.path.mkdir(parents=True, exist_ok=True)
            # What begins with a dot is a desktop's, or a file that a power failure left unfinished.
            others = any(not path.name.startswith(".") for path in self.path.iterdir())
        except OSError as error:
            raise InputError(
                f"{self.path}: cannot be a folder for results ({error.strerror}); choose another place"
            ) from error
        if others and not mark.exists():
            raise InputError(f"{self.path}: holds other things than results; name a new or an empty folder")
        if not mark.exists():
            with atomic_write(mark) as stream:
                stream.write(json.dumps({"schema": SCHEMA, "holds": "brakebeat results"}).encode() + b"\n")

    def file(self, engine: EngineName, digest: str) -> Path:
        """Where a result lies, or would."""
        return self.path / engine / digest[:2] / f"{digest}.{self._order.key(engine)}.json"

    def has(self, engine: EngineName, digest: str) -> bool:
        """Whether there is a whole result. One that a power failure has cut is as good as none."""
        try:
            data = self.file(engine, digest).read_bytes()
            return json.loads(data)["recording_sha256"] == digest
        except (OSError, ValueError, KeyError, TypeError):
            return False

    def read(self, engine: EngineName, digest: str) -> str:
        """A result that is there. Raises ``InputError`` where it is gone."""
        path = self.file(engine, digest)
        try:
            return path.read_text(encoding="utf-8")
        except (OSError, ValueError) as error:
            raise InputError(f"{path}: cannot be read ({reason(error)}); do the call again") from error

    def write(self, engine: EngineName, digest: str, text: str) -> None:
        """Keep a result. Raises ``InputError`` where it cannot be written."""
        path = self.file(engine, digest)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise InputError(
                f"{path.parent}: cannot be made ({error.strerror}); make room or choose another place"
            ) from error
        with atomic_write(path) as stream:
            stream.write(text.encode())
