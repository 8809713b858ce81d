"""What a number of magnets and their placement give: the step of the speed, and the errors to be expected."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from brakebeat.formats.rig import Rig

TICK_S = 1e-6
SPEEDS_RAD_S = (5.0, 20.0, 60.0)


@dataclass(frozen=True)
class Expected:
    """Worst errors that the benchmark saw with ``magnets`` edges a turn, on the firmware.

    ``kind``: its kind of recording (`clean-6`); ``peak_percent`` of the peak speed, ``fraction`` of the brake
    fraction; None where it did not measure that.
    """

    kind: str
    magnets: int
    peak_percent: float | None
    fraction: float | None


def step_rad_s(speed_rad_s: float, pulses_per_rev: int, gaps: int = 1) -> float:
    """By how much one tick (1 µs) of the clock changes a speed read over ``gaps`` gaps: ω²·tick/angle.

    Each gap is ω = angle/t, so that dω = −ω²/angle·dt.
    """
    return speed_rad_s**2 * TICK_S * pulses_per_rev / (2.0 * math.pi * gaps)


def placement_percent(offset_rad: float, pulses_per_rev: int) -> float:
    """Error of one gap's speed where a magnet sits ``offset_rad`` off and nobody knows, %."""
    return 100.0 * offset_rad * pulses_per_rev / (2.0 * math.pi)


def expected(rig: Rig) -> list[Expected]:
    """The benchmark's worst errors for this rig: placement known (or an encoder), and placement unknown.

    From the nearest measured count that is not above the rig's. Placement as the benchmark has it: within 1°,
    with missed, bounced and stray edges besides.
    """
    table = _table()["kinds"]
    if rig.board.sensor == "quadrature":
        names = ["quadrature-2400" if rig.pulses_per_rev >= 2400 else "quadrature-96"]
        return [Expected(name, **table[name]) for name in names if name in table]
    found = []
    for sort in ("clean", "dirty"):
        counts = [entry["magnets"] for name, entry in table.items() if name.startswith(f"{sort}-")]
        usable = [count for count in counts if count <= rig.pulses_per_rev]
        if usable:
            name = f"{sort}-{max(usable)}"
            found.append(Expected(name, **table[name]))
    return found


def expected_table() -> dict[str, Expected]:
    """Everything that the benchmark measured, by kind of recording."""
    return {name: Expected(name, **entry) for name, entry in _table()["kinds"].items()}


def two_digits(value: float) -> str:
    """A figure with two digits, without a power of ten where it is great."""
    return f"{value:.2g}" if value < 100.0 else f"{value:.0f}"


def measured_on() -> str:
    """How the benchmark's figures came about."""
    return str(_table()["measured"])


@cache
def _table() -> dict[str, Any]:
    text = resources.files("brakebeat.rigs").joinpath("expected.json").read_text(encoding="utf-8")
    table: dict[str, Any] = json.loads(text)
    return table
