"""``python -m brakebeat.board.protocol_page``: the page on the protocol, made from the firmware's ``wire.py``.

Writes ``hardware_notes/protocol.md`` of the checkout that it runs from.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

from brakebeat.board.files import BOARD_PACKAGE, firmware_dir, load_wire
from brakebeat.board.layouts import Field, numbers, tables
from brakebeat.formats.atomic import atomic_write

PAGE = Path("hardware_notes/protocol.md")
_TITLES = {
    "REP_FORMAT": "A finished rep (body of a record of kind 1)",
    "RECORD_HEAD_FORMAT": "Head of a record",
    "TIME_FORMAT": "A time (body of a record of kind 2)",
    "LIVE_FORMAT": "Live state (notified on LIVE)",
    "RAW_HEAD_FORMAT": "Head of a raw edge notification (on RAW)",
    "STATUS_FORMAT": "Status (read from STATUS, sealed)",
    "COMMAND_HEAD_FORMAT": "Head of a command (written to CONTROL)",
    "ANSWER_HEAD_FORMAT": "Head of an answer (indicated on CONTROL)",
    "HELLO_FORMAT": "Answer to HELLO",
}
_GROUPS = {
    "RECORD": "Kinds of record",
    "STATE": "Bits of `state`",
    "COMMAND": "Commands",
    "ERROR": "Errors",
}
_CONSTANTS = {"FLAG_": "Bits of a rep's `flags`", "CUE_": "Kinds of cue"}
_INTRODUCTION = """\
# The protocol, version {version}

Made from `firmware/brakebeat_fw/wire.py` by `python -m brakebeat.board.protocol_page`; change it there. All numbers
are little-endian and without padding; codes are those of Python's `struct`. "Sealed": the CRC-32 of all bytes before it
follows, as an `I`. Layouts grow at their ends, kinds and commands get new numbers; what a reader
does not know it skips.

## How a conversation goes

1. The host connects, subscribes to REP, LIVE and CONTROL, and sends HELLO. Version negotiation is in the answer.
2. It sends TIME to learn what the board's clock says now, and FROM with the first sequence number that it lacks.
3. Records come on REP in parts, in the order of their numbers; the host puts each away and acknowledges it. What stays
   unacknowledged for 5 s is sent again: duplicates are the host's to drop. Numbers may be left out (pages torn by
   a power cut, records erased), and go on rising for the life of a journal.
4. A client that never sends HELLO, such as a generic Bluetooth tool, gets live states and records after 3 s.

A part is a message number (mod 256), the part's index with bit 7 set on the last, and up to MTU - 5 bytes.

A command is head, payload, CRC-32. A write that is damaged anywhere changes nothing from there on. MicroPython hears of
a write after the stack has acknowledged it, so refusals come as an answer on CONTROL, never as an ATT error.

Raw edges: after the head one LEB128 number for each edge, `delta_us << 2 | step & 3`, the first with a delta of 0.
Without edges an empty notification comes each second.

## Over a cable

On a port without a radio the same messages travel as lines: `$`, a letter (R, L, S, W from the board for REP, LIVE,
STATUS, RAW; C both ways for CONTROL), then base64 of the message and of the CRC-32 of letter and
message. As it starts, every board, radio or not, prints its status once in the same way, letter B. All other lines are
text for people. The first good command is the connection; after 10 s without one the host counts as gone. Who holds the
cable counts as bonded.
"""


def page() -> str:
    """The page as Markdown."""
    wire = load_wire()
    text = (firmware_dir() / BOARD_PACKAGE / "wire.py").read_text(encoding="utf-8")
    found = tables(text)
    lines = [_INTRODUCTION.format(version=wire.PROTOCOL_VERSION), "## Characteristics", ""]
    lines += ["| name | UUID | use |", "|---|---|---|"]
    lines += [f"| {row.name} | `{wire.UUID % row.code}` | {row.meaning} |" for row in found["UUID_DIGITS"]]
    for table, title in _TITLES.items():
        lines += ["", f"## {title}", "", *_layout(found[table])]
    for group, title in _GROUPS.items():
        lines += ["", f"## {title}", "", "| number | name | meaning |", "|---|---|---|"]
        lines += [
            f"| {row.value} | {row.name} | {_cell(row.meaning)} |"
            for row in numbers(text)
            if row.group == group
        ]
    for group, title in _CONSTANTS.items():
        lines += ["", f"## {title}", "", "| number | name |", "|---|---|"]
        lines += [
            f"| {value} | {name} |"
            for name, value in vars(wire).items()
            if name.startswith(group) and isinstance(value, int)
        ]
    return "\n".join(lines) + "\n"


def _layout(fields: tuple[Field, ...]) -> Iterator[str]:
    yield "| at | code | field | meaning |"
    yield "|---|---|---|---|"
    at = 0
    for field in fields:
        yield f"| {at} | {field.code} | `{field.name}` | {_cell(field.meaning)} |"
        at += struct.calcsize("<" + field.code)
    yield f"| {at} | | | end |"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def main() -> None:
    """Write the page."""
    with atomic_write(firmware_dir().parent / PAGE) as file:
        file.write(page().encode())


if __name__ == "__main__":
    main()
