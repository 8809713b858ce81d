"""Copies of the firmware to measure: as it is, without viper, or spoilt on purpose to see that it is noticed."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from brakebeat.board.files import BOARD_PACKAGE, firmware_dir

# MicroPython ignores annotations, so that without the decorator `state: ptr32` is an ordinary argument.
_DECORATOR = re.compile(r"^[ \t]*@micropython\.(viper|native)[ \t]*\n", re.MULTILINE)


@contextmanager
def firmware_copy(*, viper: bool = True, append: dict[str, str] | None = None) -> Iterator[Path]:
    """A folder to run the firmware from.

    Args:
        viper: False takes the decorators off, which leaves plain bytecode.
        append: text to add at the end of a file of the board's package, by its name.
    """
    with TemporaryDirectory(prefix="brakebeat-firmware-") as name:
        folder = Path(name)
        package = folder / BOARD_PACKAGE
        shutil.copytree(
            firmware_dir() / BOARD_PACKAGE, package, ignore=shutil.ignore_patterns("__pycache__", "*.pyc")
        )
        for path in package.glob("*.py"):
            text = path.read_text(encoding="utf-8")
            if not viper:
                text = _DECORATOR.sub("", text)
            path.write_text(text + (append or {}).get(path.name, ""), encoding="utf-8")
        yield folder


def viper_functions() -> int:
    """How many functions of the firmware are viper or native."""
    package = firmware_dir() / BOARD_PACKAGE
    return sum(len(_DECORATOR.findall(path.read_text(encoding="utf-8"))) for path in package.glob("*.py"))
