"""What takes bytes from outside, each as a function of bytes that raises only where there is a mistake.

A refusal in words (``InputError``; on the board ``ValueError``) is right, anything else is not; nor is it right where a
refusal leaves something behind, or where what was taken does not come back as it was.
"""

from __future__ import annotations

from collections.abc import Callable

from brakebeat.bench.fuzz_targets.board import board_rig, bonds, cable, control, journal
from brakebeat.bench.fuzz_targets.files import recording, rig, vcd
from brakebeat.bench.fuzz_targets.given import firmware
from brakebeat.bench.fuzz_targets.imports import export, fetched, flat
from brakebeat.bench.fuzz_targets.sent import lines, raw, records, states

Target = Callable[[bytes], None]


def load_firmware() -> None:
    """Import now what the targets need of the board's files."""
    for name in ("rigfile", "control", "cable", "journal", "region", "access", "framing"):
        firmware(name)


TARGETS: dict[str, Target] = {
    target.__name__: target
    for target in (
        *(recording, rig, vcd, fetched, export, flat, records, states, raw, lines),
        *(board_rig, control, cable, journal, bonds),
    )
}
