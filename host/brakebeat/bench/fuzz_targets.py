"""What takes bytes from outside, each as a function of bytes that raises only where there is a mistake.

A refusal in words (``InputError``; on the board ``ValueError``) is right, anything else is not; nor is it right where a
refusal leaves something behind, or where what was taken does not come back as it was.
"""

from __future__ import annotations

import contextlib
import functools
import importlib
import json
import struct
import tempfile
import types
import zlib
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from brakebeat.board.files import firmware_importable, load_wire
from brakebeat.errors import InputError
from brakebeat.formats.recording import parse_recording, write_recording
from brakebeat.formats.rig import Rig, read_rig, write_rig
from brakebeat.interchange import list_channels, read_vcd
from brakebeat.link.commands import (
    unpack_answer,
    unpack_clock,
    unpack_journal,
    unpack_magnets,
    unpack_raw_start,
)
from brakebeat.link.events import RepArrived, TimeTold
from brakebeat.link.messages import decode_live, decode_status
from brakebeat.link.raw import RawDecoder
from brakebeat.link.reassembly import Reassembler
from brakebeat.link.records import RepRecord, TimeRecord, decode_record
from brakebeat.link.serial_lines import LineReader
from brakebeat.store import open_store
from brakebeat.store.fetched import import_fetched
from brakebeat.store.flat import import_flat
from brakebeat.store.merge import import_export
from brakebeat.watch.rep_book import Fetched

Target = Callable[[bytes], None]
_RIG = Rig(pulses_per_rev=6, inertia_kg_m2=0.12, drum_radius_m=0.03)
_LONGEST_LINE_OF_CABLE = 400
_MOST_ANSWERS = 16
# Of an answer: it has to fit a notification at the default MTU.
_LONGEST_ANSWER = 20


def _sealed(message: bytes) -> bytes:
    return message + struct.pack("<I", zlib.crc32(message))


def _pieces(data: bytes) -> Iterator[bytes]:
    """Data as messages: a byte of length, then so many bytes."""
    at = 0
    while at < len(data):
        size = data[at]
        yield data[at + 1 : at + 1 + size]
        at += 1 + size


@functools.cache
def _scratch() -> Path:
    folder = tempfile.TemporaryDirectory(prefix="brakebeat-fuzz-")
    # Kept until the process ends.
    _keep.append(folder)
    return Path(folder.name)


_keep: list[Any] = []


def _file(name: str, data: bytes) -> Path:
    path = _scratch() / name
    path.write_bytes(data)
    return path


# -- the host's files --------------------------------------------------------------------------------------------


def recording(data: bytes) -> None:
    """A recording: refused by file and line, or read, and written it reads as the same."""
    try:
        read = parse_recording(data, "set.csv")
    except InputError as error:
        _names(error, "set.csv")
        return
    path = _scratch() / "again.csv"
    write_recording(path, read.t_us, read.step, read.header)
    again = parse_recording(path.read_bytes(), "again.csv")
    # Whole turns of a counter before the first edge are nobody's to know.
    shift_us = again.t_us[0] - read.t_us[0] if "ticks_wrap" in read.header else 0
    if not (np.array_equal(read.t_us + shift_us, again.t_us) and np.array_equal(read.step, again.step)):
        raise AssertionError("a recording does not come back as it was")
    if (np.diff(read.t_us) < 0).any():
        raise AssertionError("times run backwards")


def rig(data: bytes) -> None:
    """A rig file on the host: refused, or written again it is the same, and the board can read that."""
    path = _file("rig.toml", data)
    try:
        read = read_rig(path)
    except InputError as error:
        _names(error, "rig.toml")
        return
    again = _scratch() / "again.toml"
    write_rig(again, read)
    if read_rig(again) != read:
        raise AssertionError("a rig does not come back as it was")
    _firmware("rigfile").parse(again.read_text("utf-8"))


def vcd(data: bytes) -> None:
    """A Value Change Dump."""
    path = _file("dump.vcd", data)
    try:
        channels = list_channels(path)
        for channel in channels[:2]:
            t_us, step = read_vcd(path, channel.name)
            if t_us.size != step.size or not t_us.size:
                raise AssertionError("edges without steps")
    except InputError as error:
        _names(error, "dump.vcd")


def _names(error: InputError, name: str) -> None:
    if name not in str(error):
        raise AssertionError(f"a refusal that does not name the file: {error}")


# -- the store's imports -----------------------------------------------------------------------------------------


@functools.cache
def _store() -> Any:
    store = open_store(_scratch() / "log.brakebeat")
    _keep.append(store)
    return store


def _imported(name: str, data: bytes, take: Callable[[Any, Path], object]) -> None:
    """Taken or refused: refused it leaves nothing behind, and the store stays sound."""
    store, path = _store(), _file(name, data)
    before = _rows(store)
    try:
        take(store, path)
    except InputError as error:
        _names(error, name)
        if _rows(store) != before:
            raise AssertionError("a refused import left something behind") from error
    if store.rows("PRAGMA foreign_key_check"):
        raise AssertionError("a row refers to nothing")


def _rows(store: Any) -> list[int]:
    tables = ("athlete", "exercise", "session", "work_set", "rep", "cue", "note", "arrival", "change", "plan")
    return [store.row(f"SELECT count(*) FROM {table}")[0] for table in tables]


def fetched(data: bytes) -> None:
    """Reps that ``fetch`` wrote, as JSON lines."""
    at = datetime(2026, 1, 1, tzinfo=UTC)

    def take(store: Any, path: Path) -> object:
        return import_fetched(store, path, athlete="Mara", exercise="squat", rig=_RIG, unknown_at=at)

    _imported("reps.jsonl", data, take)


def export(data: bytes) -> None:
    """An export as JSON."""
    _imported("export.json", data, import_export)


def flat(data: bytes) -> None:
    """An export as CSV or Parquet."""
    _imported("reps.csv", data, import_flat)


# -- what a board sends ------------------------------------------------------------------------------------------


def records(data: bytes) -> None:
    """Parts of records: put together, decoded, dated, made a document."""
    parts, taken = Reassembler(), Fetched()
    for piece in _pieces(data):
        message = parts.feed(piece)
        # A seal that fits is not found by chance.
        for body in (message, piece):
            record = None if body is None else decode_record(body)
            if isinstance(record, RepRecord):
                taken.take(
                    RepArrived(record.rep, record.cues, record.packed, 7, record.sequence, record.boot)
                )
            elif isinstance(record, TimeRecord):
                taken.take(TimeTold(7, record.boot, record.board_us, record.wall_us))
    json.dumps(taken.documents(), allow_nan=False)


def states(data: bytes) -> None:
    """Live states, statuses and answers, as they come and with a seal that fits."""
    decode_live(data)
    for message in (data, _sealed(data)):
        status = decode_status(message)
        if status is not None:
            json.dumps(vars(status), allow_nan=False)
        unpack_answer(message)
    for unpack in (unpack_journal, unpack_clock, unpack_raw_start, unpack_magnets):
        unpack(data)


def raw(data: bytes) -> None:
    """Raw edges: times within a notification never run backwards, clocks stay what a file can hold."""
    decoder = RawDecoder(1_000_000, 1, False)
    for piece in _pieces(data):
        edges = decoder.feed(piece)
        if edges is not None and ((np.diff(edges.t_us) < 0).any() or edges.t_us[0] < 0):
            raise AssertionError("edges before the clock began, or backwards")


def lines(data: bytes) -> None:
    """What comes over a cable, whole and in pieces: the same messages."""
    whole = LineReader().feed(data)
    reader = LineReader()
    pieces = [message for at in range(0, len(data), 7) for message in reader.feed(data[at : at + 7])]
    longest = max(map(len, data.split(b"\n")), default=0)
    if longest < _LONGEST_LINE_OF_CABLE and pieces != whole:
        raise AssertionError("a line that came in pieces reads otherwise")


# -- the board ---------------------------------------------------------------------------------------------------


@functools.cache
def _firmware(name: str) -> types.ModuleType:
    """One of the board's files, imported here."""
    with firmware_importable():
        return importlib.import_module(f"brakebeat_fw.{name}")


def load_firmware() -> None:
    """Import now what the targets need of the board's files."""
    for name in ("rigfile", "control", "cable", "journal", "region", "access", "framing"):
        _firmware(name)


def board_rig(data: bytes) -> None:
    """A rig file on the board: a sane rig, or what is wrong and the defaults."""
    path = _file("board.toml", data)
    rigfile = _firmware("rigfile")
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
        self.journal = _firmware("journal").Journal(_firmware("region").MemoryRegion())
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
            _firmware("rigfile").parse(data.decode())
        except ValueError as error:
            return str(error)
        self.rigs += 1
        return ""


def control(data: bytes) -> None:
    """Writes to CONTROL, as they are and as well-formed commands: answered, and a stranger changes nothing."""
    trusted, at_rest = bool(data[:1] > b"\x7f"), data[1:2] > b"\x7f"
    board = _Board(at_rest)
    made = _firmware("control").Control(board)
    before = board.journal.next, board.journal.oldest
    for piece in _pieces(data[2:]):
        made.obey(piece, trusted)
        if piece:
            payload = piece[1:200]
            made.obey(_sealed(bytes((piece[0] % 14, 9, len(payload))) + payload), trusted)
        if len(made.answers) > _MOST_ANSWERS or any(len(one) > _LONGEST_ANSWER for one in made.answers):
            raise AssertionError("answers that fit nowhere")
        made.answers.clear()
    if not trusted and (board.rigs or (board.journal.next, board.journal.oldest) != before):
        raise AssertionError("a stranger changed something")


def cable(data: bytes) -> None:
    """Characters over the board's cable."""
    module = _firmware("cable")
    line = module.Cable.__new__(module.Cable)
    line._line, line._commands, line._connected = "", b"", False
    heard: list[Any] = []
    line.irq(lambda event, told: heard.append(event))
    for character in data.decode("latin-1"):
        line.take(character)
        if len(line._line) > _LONGEST_LINE_OF_CABLE:
            raise AssertionError("a line without an end is kept")
    line.gatts_read(0)


def journal(data: bytes) -> None:
    """A journal's flash with anything on it: it mounts, reads, and keeps a new record."""
    region = _firmware("region").MemoryRegion()
    room = len(region._data)
    region._data[:] = (
        (data + bytes(room))[:room] if data[:1] < b"\x80" else (data * (room // max(len(data), 1) + 1))[:room]
    )
    kept = _firmware("journal").Journal(region)
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
    for content in (data, data + _firmware("framing").checksum(data)):
        path = _file("bonds", content)
        with contextlib.suppress(ValueError):
            _firmware("access").Access(str(path), None, 0)


TARGETS: dict[str, Target] = {
    target.__name__: target
    for target in (
        *(recording, rig, vcd, fetched, export, flat, records, states, raw, lines),
        *(board_rig, control, cable, journal, bonds),
    )
}
