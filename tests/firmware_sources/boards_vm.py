"""Runs a script on the MicroPython VM made a board, with what it prints last as JSON."""

import functools
import json
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import pytest

from brakebeat.board.engine import micropython_command
from brakebeat.board.files import firmware_dir
from tests.firmware_sources.stubs import signatures

STANDIN = Path(__file__).with_name("standin")
HEAD = "import sys\nsys.path.insert(0, sys.argv[2])\nimport json\nimport setup\n"

needs_vm = pytest.mark.skipif(micropython_command() is None, reason="no MicroPython VM is installed")


@functools.cache
def _signatures() -> str:
    return json.dumps({port: signatures(port) for port in ("rp2", "esp32")})


def run(script: str, *lines: Any, folder: Path | None = None, code: int = 0) -> tuple[Any, str]:
    """The JSON of the last line that ``script`` prints, and all before it; ``lines``: its input, JSON a line."""
    with tempfile.TemporaryDirectory() as made:
        place = Path(made)
        (place / "signatures.json").write_text(_signatures(), "utf-8")
        (place / "script.py").write_text(HEAD + script, "utf-8")
        done = subprocess.run(
            [
                str(micropython_command()),
                "-X",
                "heapsize=64m",
                str(place / "script.py"),
                str(firmware_dir()),
                str(STANDIN),
                str(place / "signatures.json"),
            ],
            input="".join(json.dumps(line) + "\n" for line in lines),
            capture_output=True,
            text=True,
            check=False,
            cwd=folder or place,
            timeout=300,
        )
    assert done.returncode == code, done.stdout + done.stderr
    *before, last = done.stdout.strip().split("\n")
    return json.loads(last), "\n".join(before)
