"""How wide the hot path's integers get under hostile input: they must stay within a board's 31 bits."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from brakebeat.board import cpython_shim
from brakebeat.board.files import firmware_dir
from brakebeat.errors import DeviceError

# What runs for every edge or every millisecond.
MODULES = ("detector", "edges", "ticks")


@dataclass(frozen=True)
class WidthReport:
    """What all hostile sessions together showed.

    ``modules``: by name ``most`` (greatest magnitude), ``values`` (how many were seen), ``lines_beyond`` (line ->
    greatest magnitude, of 2^30 and more) and ``lines_negative`` (line -> least value stored in an array).
    """

    modules: dict[str, dict[str, Any]]
    sessions: int
    broken_sessions: int
    broke_down: list[str]


def hostile_widths(
    sessions: int = 100,
    seed: int = 1,
    *,
    whole: bool = False,
    backwards: bool = True,
    modules: tuple[str, ...] = MODULES,
    folder: Path | None = None,
) -> WidthReport:
    """Run instrumented firmware under hostile edges in a process of its own.

    Args:
        whole: with all that a session does; else its passes over edges alone, turnarounds and rests taken for
            granted.
        backwards: times may leap back, too.

    Raises:
        DeviceError: the harness itself failed (a session that breaks down is reported, not raised).
    """
    script = Path(__file__).with_name("hostile.py")
    shim = str(Path(cpython_shim.__file__))
    arguments = [
        str(folder or firmware_dir()),
        ",".join(modules),
        str(seed),
        str(sessions),
        str(int(whole)),
        str(int(backwards)),
    ]
    done = subprocess.run(
        [sys.executable, "-I", shim, str(script), *arguments], capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        raise DeviceError(f"hostile input: {done.stderr.strip().splitlines()[-1:]}")
    answer = json.loads(done.stdout)
    return WidthReport(answer["modules"], sessions, answer["broken_sessions"], answer["broke_down"])
