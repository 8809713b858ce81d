"""The boards that are supported by name, and what each source of edges can do: the firmware's own table, with words."""

from __future__ import annotations

import functools
import importlib.util
from dataclasses import dataclass
from types import ModuleType

from brakebeat.board.files import BOARD_PACKAGE, firmware_dir

# Files that only one port has a use for.
_PORT_OF_FILE = {"pio.py": "rp2", "pulse.py": "esp32"}

# How losses are known, by source of edges.
_LOSSES = {
    "interrupt": "counted: an edge that finds the buffer full",
    "scheduled": "inferred: handlers run from a queue of eight, and what it drops nothing counts; "
    "magnets that must have passed show as missed",
    "witnessed": "counted: a pulse counter beside the handler counts every edge, the difference is lost",
    "pio": "counted: what the state machine handed over and the buffer no longer holds",
    "counter": "counted: each time that the counter was not looked at for so long that it may have gone round; "
    "a late look alone loses no count",
    "replay": "none: the recording waits",
}


@dataclass(frozen=True)
class Source:
    """What a source of edges can do. resolution_us: the finest time that it tells; highest_hz: edges a second that it
    takes without a loss; counted: whether losses are counted (else inferred); losses: how, in words."""

    name: str
    resolution_us: int
    highest_hz: int
    counted: bool
    losses: str


@dataclass(frozen=True)
class SupportedBoard:
    """One board. chip: as `sys.implementation._machine` ends on it; pins: defaults by key of the table ``[board]``."""

    name: str
    chip: str
    port: str
    radio: bool
    hall_source: str
    encoder_source: str
    pins: dict[str, int]


@functools.cache
def _table() -> ModuleType:
    path = firmware_dir() / BOARD_PACKAGE / "boards.py"
    spec = importlib.util.spec_from_file_location("brakebeat._boards", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@functools.cache
def supported_boards() -> tuple[SupportedBoard, ...]:
    """Every board that is supported by name."""
    table = _table()
    return tuple(
        SupportedBoard(name, chip, port, True, hall, encoder, dict(zip(table.PINS, pins, strict=True)))
        for name, chip, port, hall, encoder, pins in table.BOARDS
    )


@functools.cache
def sources() -> dict[str, Source]:
    """What each source of edges can do, by name."""
    table = _table()
    return {
        name: Source(name, resolution_us, highest_hz, losses == table.COUNTED, _LOSSES[name])
        for name, (resolution_us, highest_hz, losses) in table.SOURCES.items()
    }


def board_of(machine: str) -> SupportedBoard | None:
    """The board that says ``machine`` of itself (`sys.implementation._machine`); None for any other."""
    chip = machine.split(" ")[-1]
    return next((board for board in supported_boards() if board.chip == chip), None)


def files_for(port: str) -> frozenset[str]:
    """Names of the firmware's files that a board of ``port`` has a use for."""
    foreign = {name for name, only in _PORT_OF_FILE.items() if only != port}
    every = {path.name for path in (firmware_dir() / BOARD_PACKAGE).glob("*.py")}
    return frozenset(every - foreign)
