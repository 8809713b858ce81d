"""Where the firmware's files are, whether the package is installed or used from a checkout."""

from __future__ import annotations

import contextlib
import functools
import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

from brakebeat.board.layouts import name_everything
from brakebeat.errors import InputError

_PACKAGE = Path(__file__).resolve().parents[1]
BOARD_PACKAGE = "brakebeat_fw"


@functools.cache
def firmware_dir() -> Path:
    """The folder that holds ``main.py`` and the board's package.

    Raises:
        InputError: neither the installed copy nor a checkout's is there.
    """
    for folder in (_PACKAGE / "_firmware", _PACKAGE.parents[1] / "firmware"):
        if (folder / BOARD_PACKAGE / "__init__.py").is_file():
            return folder
    raise InputError(f"{_PACKAGE}: the firmware's files are missing; install brakebeat again")


@functools.cache
def load_wire() -> ModuleType:
    """The firmware's ``wire`` module (byte layouts), loaded from the very file that boards get.

    What the fields are called stands in the file's comments and is added (``layouts.name_everything``).
    """
    path = firmware_dir() / BOARD_PACKAGE / "wire.py"
    spec = importlib.util.spec_from_file_location("brakebeat._wire", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    name_everything(module, path.read_text(encoding="utf-8"))
    return module


@contextlib.contextmanager
def firmware_importable() -> Iterator[None]:
    """Inside, the board's files that need no board can be imported as ``brakebeat_fw.NAME``.

    Of MicroPython's own module they want ``const`` alone, which is stood in for; the package of that name on PyPI,
    which brings the VM, is another thing and is put back.
    """
    if str(firmware_dir()) not in sys.path:
        sys.path.append(str(firmware_dir()))
    before = sys.modules.get("micropython")
    stand_in = ModuleType("micropython")
    vars(stand_in)["const"] = lambda value: value
    sys.modules["micropython"] = stand_in
    try:
        yield
    finally:
        del sys.modules["micropython"]
        if before is not None:
            sys.modules["micropython"] = before
