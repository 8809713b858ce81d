"""What a board sends, by radio and by cable."""

from __future__ import annotations

import json

import numpy as np

from brakebeat.bench.fuzz_targets.given import LONGEST_LINE_OF_CABLE, pieces, sealed
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
from brakebeat.watch.rep_book import Fetched


def records(data: bytes) -> None:
    """Parts of records: put together, decoded, dated, made a document."""
    parts, taken = Reassembler(), Fetched()
    for piece in pieces(data):
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
    for message in (data, sealed(data)):
        status = decode_status(message)
        if status is not None:
            json.dumps(vars(status), allow_nan=False)
        unpack_answer(message)
    for unpack in (unpack_journal, unpack_clock, unpack_raw_start, unpack_magnets):
        unpack(data)


def raw(data: bytes) -> None:
    """Raw edges: times within a notification never run backwards, clocks stay what a file can hold."""
    decoder = RawDecoder(1_000_000, 1, False)
    for piece in pieces(data):
        edges = decoder.feed(piece)
        if edges is not None and ((np.diff(edges.t_us) < 0).any() or edges.t_us[0] < 0):
            raise AssertionError("edges before the clock began, or backwards")


def lines(data: bytes) -> None:
    """What comes over a cable, whole and in pieces: the same messages."""
    whole = LineReader().feed(data)
    reader = LineReader()
    pieces = [message for at in range(0, len(data), 7) for message in reader.feed(data[at : at + 7])]
    longest = max(map(len, data.split(b"\n")), default=0)
    if longest < LONGEST_LINE_OF_CABLE and pieces != whole:
        raise AssertionError("a line that came in pieces reads otherwise")
