"""Which code was measured: a short digest of the firmware's and the reference's files."""

from __future__ import annotations

import hashlib
from pathlib import Path

import brakebeat
from brakebeat.board.files import BOARD_PACKAGE, firmware_dir


def fingerprints() -> dict[str, str]:
    """The first eight digits of a SHA-256 over each engine's sources."""
    package = Path(brakebeat.__file__).parent
    folders = {
        "firmware": firmware_dir() / BOARD_PACKAGE,
        "reference": package / "reference",
        "simulator": package / "simulate",
    }
    return {name: _digest(folder) for name, folder in folders.items()}


def _digest(folder: Path) -> str:
    digest = hashlib.sha256()
    for path in sorted(folder.rglob("*.py")):
        digest.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:8]
