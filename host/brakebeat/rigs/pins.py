"""Pins of a new rig file: those of the wiring diagram of the board that was named."""

from __future__ import annotations

from typing import TYPE_CHECKING

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
