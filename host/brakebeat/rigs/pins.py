"""Pins of a new rig file: those of the wiring diagram of the board that was named."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from brakebeat.errors import InputError

if TYPE_CHECKING:
    from brakebeat.board.table import SupportedBoard

# The questions are also options: what is imported here, `rig --help` waits for.


def board_named(text: str) -> SupportedBoard | None:
    """The board that ``text`` names (capitals, blanks and dashes do not matter, nor does the maker); None for "other".

    Raises ``ValueError`` with the names that there are.
    """
    wanted = _plain(text)
    if wanted == "other":
        return None
    from brakebeat.board.table import supported_boards

    boards = supported_boards()
    for board in boards:
        if wanted in (_plain(board.name), _plain(board.chip)):
            return board
    ends = [board for board in boards if len(wanted) > 1 and _plain(board.name).endswith(wanted)]
    if len(ends) == 1:
        return ends[0]
    raise ValueError(f"one of {', '.join(board.name for board in boards)}, other")


def pin(text: str) -> int | None:
    """A GPIO number (``14``, ``GP14``, ``GPIO14``); None for "none"."""
    plain = text.lower()
    if plain in ("none", "-"):
        return None
    return int(plain.removeprefix("gpio").removeprefix("gp"))


@dataclass(frozen=True)
class _Free:
    """GPIO numbers of a chip's boards: those that lead outside, the mere inputs, those that measure voltages."""

    wired: frozenset[int]
    inputs: frozenset[int]
    voltage: frozenset[int]


def _numbers(*spans: tuple[int, int]) -> frozenset[int]:
    return frozenset(number for first, last in spans for number in range(first, last + 1))


# By chip, from memory of the makers' data sheets: a Pico's 23 to 25 and 29 belong to its radio; an ESP32's 6 to 11,
# a -S3's 26 to 32 and a -C3's 12 to 17 lead to the flash; voltages by ADC1, since a radio may have the other.
_PICO = _Free(_numbers((0, 22), (26, 28)), frozenset(), _numbers((26, 28)))
_FREE = {
    "RP2040": _PICO,
    "RP2350": _PICO,
    "ESP32": _Free(
        _numbers((0, 5), (12, 19), (21, 23), (25, 27), (32, 39)), _numbers((34, 39)), _numbers((32, 39))
    ),
    "ESP32S3": _Free(_numbers((0, 21), (33, 48)), frozenset(), _numbers((1, 10))),
    "ESP32C3": _Free(_numbers((0, 11), (18, 21)), frozenset(), _numbers((0, 4))),
}
_DRIVEN = ("buzzer_pin", "led_pin", "motor_pin")


def refuse_pin(board: SupportedBoard, key: str, number: int, option: str) -> None:
    """Raises ``InputError`` naming ``option`` where pin ``number`` of ``board`` cannot be what ``key`` says."""
    free = _FREE[board.chip]
    fit, what = free.wired, f"leads to no pin of the {board.name}, or to one that the board itself needs"
    if key == "supply_pin" and number in fit:
        fit, what = free.voltage, f"of the {board.name} measures no voltage"
    elif key in _DRIVEN and number in fit:
        fit, what = free.wired - free.inputs, f"of the {board.name} is an input only"
    if number not in fit:
        raise InputError(f"{option}: GPIO {number} {what}; take one of {_spans(fit)}")


def _spans(numbers: frozenset[int]) -> str:
    """`0 to 22, 26 to 28`."""
    firsts = sorted(number for number in numbers if number - 1 not in numbers)
    lasts = sorted(number for number in numbers if number + 1 not in numbers)
    return ", ".join(
        str(first) if first == last else f"{first} to {last}"
        for first, last in zip(firsts, lasts, strict=True)
    )


def notes(board: SupportedBoard | None) -> dict[str, str]:
    """Comments for the rig file by key: what each pin is for, and its number in the board's wiring diagram."""
    if board is None:
        return {}
    from brakebeat.formats.rig_errors import comment, known_keys

    fields = known_keys()
    return {
        f"board.{key}": f"{comment(fields[f'board.{key}'])}; {number} in the wiring diagram of the {board.name}"
        for key, number in board.pins.items()
    }


def _plain(text: str) -> str:
    return "".join(letter for letter in text.lower() if letter.isalnum())
