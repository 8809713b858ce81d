"""What a board is: its MicroPython, its processor, its files, the room on its flash."""

from __future__ import annotations

from dataclasses import dataclass

from brakebeat.errors import DeviceError
from brakebeat.install.console import Console

# The oldest that the firmware's tests run on; older ones may work and were never tried.
LEAST_VERSION = (1, 28)
WHERE = "get it for your board from micropython.org/download, put it on, and call this again"

# `sys.implementation._mpy`: bits 0-7 version, 8-9 sub-version, 10-13 processor.
# Source: MicroPython documentation, "MicroPython .mpy files".
_ARCHITECTURES = (
    None,
    "x86",
    "x64",
    "armv6",
    "armv6m",
    "armv7m",
    "armv7em",
    "armv7emsp",
    "armv7emdp",
    "xtensa",
    "xtensawin",
    "rv32imc",
    "rv64imc",
)

_ASK = """
import sys, os
_v = sys.implementation
_s = os.statvfs('/')
print(repr((_v.name, tuple(_v.version)[:3], getattr(_v, '_machine', ''), getattr(_v, '_mpy', 0), sys.platform,
    _s[0], _s[2], _s[3], os.listdir('/'))))
"""


@dataclass(frozen=True)
class Facts:
    """mpy: `sys.implementation._mpy`; files: names in the board's root; free_bytes: room on its file system."""

    name: str
    version: tuple[int, int, int]
    machine: str
    mpy: int
    port: str
    block_bytes: int
    free_bytes: int
    files: frozenset[str]

    @property
    def architecture(self) -> str | None:
        """The processor as mpy-cross names it; None where this MicroPython loads no native code."""
        number = self.mpy >> 10 & 0xF
        return _ARCHITECTURES[number] if number < len(_ARCHITECTURES) else None

    @property
    def version_text(self) -> str:
        """As people write it."""
        return ".".join(str(number) for number in self.version)


def facts_of(console: Console) -> Facts:
    """Ask the board. Raises DeviceError where it is no board that the firmware can run on."""
    import ast

    printed = console.run(_ASK).strip()
    try:
        name, version, machine, mpy, port, block, blocks, free, files = ast.literal_eval(printed)
    except (ValueError, SyntaxError) as error:
        raise DeviceError(
            f"{console.port}: the board answers {printed[:80]!r}; reset it, try again"
        ) from error
    # littlefs gives a huge number where it is overfull.
    free = free if free <= blocks else 0
    facts = Facts(name, tuple(version), machine, mpy, port, block, free * block, frozenset(files))
    _check(console.port, facts)
    return facts


def _check(port: str, facts: Facts) -> None:
    needed = ".".join(str(number) for number in LEAST_VERSION)
    if facts.name != "micropython":
        raise DeviceError(
            f"{port}: {facts.name} {facts.version_text} is on it; MicroPython is needed: {WHERE}"
        )
    if facts.version < LEAST_VERSION:
        raise DeviceError(
            f"{port}: MicroPython {facts.version_text} is on it, {needed} or newer is needed: {WHERE}"
        )
    if facts.architecture is None:
        raise DeviceError(
            f"{port}: this build of MicroPython ({facts.machine}) loads no native code, which the detector needs; "
            "use one of the supported boards with its standard build"
        )
