"""Firmware modules whose integers are seen, to hold them to what a board has."""

from typing import Any

from brakebeat.bench.counting.instrument import Widths, instrumented
from brakebeat.board.files import BOARD_PACKAGE, firmware_dir
from tests.firmware.loaded import shimmed


def watched_module(name: str) -> tuple[dict[str, Any], Widths]:
    """The names of a module of its own, and what its functions report every integer to."""
    path = firmware_dir() / BOARD_PACKAGE / f"{name}.py"
    widths = Widths()
    code, names = instrumented(path.read_text(encoding="utf-8"), str(path), widths)
    names["__package__"] = BOARD_PACKAGE
    names["__name__"] = f"{BOARD_PACKAGE}.{name}"
    with shimmed():
        exec(code, names)
    # What importing it computed is not asked for.
    widths.greatest.clear()
    widths.values = 0
    return names, widths
