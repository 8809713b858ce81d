"""Which code gives an engine's answers: what a kept result is worth keeping for, and what a cluster must agree on."""

from __future__ import annotations

import functools
import hashlib
import platform
import subprocess
import sys
from collections.abc import Iterable
from importlib.metadata import version
from pathlib import Path
from typing import Literal

import brakebeat
from brakebeat.board.engine import micropython_command
from brakebeat.board.files import firmware_dir

EngineName = Literal["reference", "micropython", "cpython"]

_PACKAGE = Path(brakebeat.__file__).parent
_SHARED = ("__init__.py", "errors.py", "results.py", "mechanics.py", "formats/*.py")
# Every file of this package that an engine imports, and those that it runs elsewhere.
SOURCES: dict[EngineName, tuple[str, ...]] = {
    "reference": (*_SHARED, "reference/**/*.py"),
    "micropython": (*_SHARED, "board/*.py", "board/vm/*.py"),
    "cpython": (*_SHARED, "board/*.py", "board/vm/*.py"),
}


@functools.cache
def engine_version(engine: EngineName) -> str:
    """A SHA-256 over all that decides an engine's answers to the last bit, as far as can be known.

    That is its sources, the firmware's files, the libraries' versions and the kind of computer. Not in it: the
    processor's model, by which NumPy's linear algebra chooses its instructions.
    """
    digest = hashlib.sha256()
    for words in (engine, sys.platform, platform.machine(), *_beneath(engine)):
        digest.update(words.encode() + b"\0")
    for path in source_files(engine):
        digest.update(path.name.encode() + b"\0" + hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def source_files(engine: EngineName) -> list[Path]:
    """The files whose content counts."""
    found = [path for pattern in SOURCES[engine] for path in sorted(_PACKAGE.glob(pattern))]
    if engine != "reference":
        found += sorted(firmware_dir().rglob("*.py"))
    return found


def versions_of(engines: Iterable[EngineName]) -> dict[EngineName, str]:
    """The version of each; a function of its own so that a cluster's workers can be asked."""
    return {engine: engine_version(engine) for engine in engines}


def _beneath(engine: EngineName) -> tuple[str, ...]:
    """What the engine stands on."""
    libraries = tuple(f"{name} {version(name)}" for name in ("numpy", "scipy"))
    if engine == "reference":
        return (platform.python_version(), *libraries)
    if engine == "cpython":
        return (platform.python_version(),)
    command = micropython_command()
    if command is None:
        return ("no VM",)
    done = subprocess.run([command, "-c", "import sys; print(sys.version)"], capture_output=True, check=False)
    return (done.stdout.decode(errors="replace"),)
