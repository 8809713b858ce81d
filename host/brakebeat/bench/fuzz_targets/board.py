"""What reaches the board: its rig file, commands, a cable's characters, its flash."""

from __future__ import annotations

import contextlib
import types
from typing import Any

from brakebeat.bench.fuzz_targets.given import LONGEST_LINE_OF_CABLE, file, firmware, pieces, sealed
from brakebeat.board.files import load_wire

_MOST_ANSWERS = 16
# Of an answer: it has to fit a notification at the default MTU.
_LONGEST_ANSWER = 20


def board_rig(data: bytes) -> None:
    """A rig file on the board: a sane rig, or what is wrong and the defaults."""
    path = file("board.toml", data)
    rigfile = firmware("rigfile")
    values, trouble = rigfile.load(str(path))
    if trouble and values != rigfile.defaults():
        raise AssertionError("a refused rig is in force")
    rigfile.check(values)
    # What the board's program takes for granted.
    str.encode(values.get("name") or "")
    range(values["zero_index"] or 0, 10 // values.get("board.thin", 1))
    for key, value in values.items():
        if key.startswith("board.") and "_pin" in key and not isinstance(value, int):
            raise AssertionError(f"{key} is no pin")


class _Board:
    """As much of the board as its commands look at."""

    def __init__(self, at_rest: bool) -> None:
        self.journal = firmware("journal").Journal(firmware("region").MemoryRegion())
        self.session = types.SimpleNamespace(learnt_magnets=lambda first: b"\6\5")
        self.tap = types.SimpleNamespace(start=lambda: None, stop=lambda: None)
        self.at_rest = at_rest
        self.rigs = 0

    def clock_us(self) -> int:
        """A clock that stands."""
        return 7_000_000

    def uptime_s(self) -> int:
        """The same."""
        return 7

    def take_rig(self, data: bytes) -> str:
        """As the board's."""
        try:
            firmware("rigfile").parse(data.decode())
        except ValueError as error:
            return str(error)
        self.rigs += 1
        return ""


def control(data: bytes) -> None:
    """Writes to CONTROL, as they are and as well-formed commands: answered, and a stranger changes nothing."""
    trusted, at_rest = bool(data[:1] > b"\x7f"), data[1:2] > b"\x7f"
    board = _Board(at_rest)
    made = firmware("control").Control(board)
    before = board.journal.next, board.journal.oldest
    for piece in pieces(data[2:]):
        made.obey(piece, trusted)
        if piece:
            payload = piece[1:200]
            made.obey(sealed(bytes((piece[0] % 14, 9, len(payload))) + payload), trusted)
        if len(made.answers) > _MOST_ANSWERS or any(len(one) > _LONGEST_ANSWER for one in made.answers):
            raise AssertionError("answers that fit nowhere")
        made.answers.clear()
    if not trusted and (board.rigs or (board.journal.next, board.journal.oldest) != before):
        raise AssertionError("a stranger changed something")


def cable(data: bytes) -> None:
    """Characters over the board's cable."""
    module = firmware("cable")
    line = module.Cable.__new__(module.Cable)
    line._line, line._commands, line._connected = "", b"", False
    heard: list[Any] = []
    line.irq(lambda event, told: heard.append(event))
    for character in data.decode("latin-1"):
        line.take(character)
        if len(line._line) > LONGEST_LINE_OF_CABLE:
            raise AssertionError("a line without an end is kept")
    line.gatts_read(0)


def journal(data: bytes) -> None:
    """A journal's flash with anything on it: it mounts, reads, and keeps a new record."""
    region = firmware("region").MemoryRegion()
    room = len(region._data)
    region._data[:] = (
        (data + bytes(room))[:room] if data[:1] < b"\x80" else (data * (room // max(len(data), 1) + 1))[:room]
    )
    kept = firmware("journal").Journal(region)
    for sequence in range(kept.oldest, min(kept.next, kept.oldest + 100)):
        kept.get(sequence)
    kept.put(1, bytes(load_wire().REP_SIZE))
    first = kept.next
    for _ in range(12):
        kept.service(True)
    if kept.next == first or kept.get(kept.next - 1) is None:
        raise AssertionError("a new record is not kept")


def bonds(data: bytes) -> None:
    """The file of bonds: damaged it gives none."""
    for content in (data, data + firmware("framing").checksum(data)):
        path = file("bonds", content)
        with contextlib.suppress(ValueError):
            firmware("access").Access(str(path), None, 0)
