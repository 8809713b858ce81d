"""Instructions of a command, counted by Valgrind's callgrind: no clock has a say."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from pathlib import Path

from brakebeat.errors import DeviceError, InputError

_COLLECTED = re.compile(r"Collected\s*:\s*(\d+)")
_TOTAL = re.compile(r"^totals: (\d+)", re.MULTILINE)
_MISSING = "valgrind: not installed; `apt-get install valgrind` to count instructions"


def find_valgrind() -> str | None:
    """The ``valgrind`` command, or None where there is none."""
    return shutil.which("valgrind")


def count_instructions(command: list[str], stdin: bytes = b"") -> tuple[int, str]:
    """Instructions that a command took, and what it printed.

    Raises:
        InputError: there is no valgrind.
        DeviceError: the command failed, or its instructions were not counted.
    """
    valgrind = find_valgrind()
    if valgrind is None:
        raise InputError(_MISSING)
    output, words = call([valgrind, "--tool=callgrind", "--callgrind-out-file=/dev/null", *command], stdin)
    found = _COLLECTED.search(words)
    if found is None:
        raise DeviceError(f"{valgrind}: no instruction count in its output: {words[-200:]}")
    return int(found.group(1)), output


def count_calls(command: list[str], function: str, stdin: bytes = b"") -> list[int]:
    """Instructions inside each call of a C function, in order, whatever it calls included.

    Raises:
        InputError: there is no valgrind.
        DeviceError: the command failed.
    """
    valgrind = find_valgrind()
    if valgrind is None:
        raise InputError(_MISSING)
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "calls"
        options = ["--collect-atstart=no", f"--toggle-collect={function}", f"--dump-after={function}"]
        call([valgrind, "--tool=callgrind", *options, f"--callgrind-out-file={out}", *command], stdin)
        parts = sorted(Path(folder).glob("calls.*"), key=lambda part: int(part.suffix[1:]))
        return [int(_TOTAL.findall(part.read_text())[0]) for part in parts]


def call(command: list[str], stdin: bytes = b"") -> tuple[str, str]:
    """What a command that runs the firmware printed on standard output and on standard error.

    Raises:
        DeviceError: it failed; the message has its last words.
    """
    # A hash seed of its own would make the host's start-up, and with it the count, differ from run to run.
    environment = os.environ | {"PYTHONHASHSEED": "0"}
    done = subprocess.run(command, input=stdin, capture_output=True, env=environment, check=False)
    output, words = done.stdout.decode(errors="replace"), done.stderr.decode(errors="replace")
    if done.returncode != 0:
        lines = (output + words).strip().splitlines()
        raise DeviceError(f"the firmware failed: {lines[-1] if lines else 'no word'}")
    return output, words
