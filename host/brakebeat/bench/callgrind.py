"""Instructions of a command, counted by Valgrind's callgrind: no clock has a say."""

from __future__ import annotations

import os
import re
import shutil
import subprocess

from brakebeat.errors import DeviceError, InputError

_COLLECTED = re.compile(r"Collected\s*:\s*(\d+)")


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
        raise InputError("valgrind: not installed; `apt-get install valgrind` to count instructions")
    output, words = call([valgrind, "--tool=callgrind", "--callgrind-out-file=/dev/null", *command], stdin)
    found = _COLLECTED.search(words)
    if found is None:
        raise DeviceError(f"{valgrind}: no instruction count in its output: {words[-200:]}")
    return int(found.group(1)), output


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
