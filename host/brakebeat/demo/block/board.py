"""A turn on the wheel as the host hears of it: simulated pulses, the board's own firmware, its records."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any

from brakebeat import __version__
from brakebeat.board.engine import EngineChoice
from brakebeat.board.files import load_wire
from brakebeat.board.replay import FirmwareRun, run_firmware
from brakebeat.demo.block.course import Turn
from brakebeat.demo.block.people import MAGNETS, rig, wheel
from brakebeat.formats.recording import Recording
from brakebeat.link.events import Connected, EdgesArrived, Event, RepArrived
from brakebeat.link.messages import BoardStatus
from brakebeat.link.records import RepRecord, decode_record
from brakebeat.simulate import preset, sense, simulate
from brakebeat.watch.rig_header import rig_header

JOURNAL_ID = 0xB10C
# About as long as the firmware waits until it is sure of a rep's end, and the radio for its turn.
_ON_ITS_WAY_S = 0.4
_EDGES_A_MESSAGE = 40


@dataclass(frozen=True)
class Heard:
    """What came of one turn: the board's records and the raw edges, both on the board's clock from its power-up."""

    turn: Turn
    run: FirmwareRun
    edges: Recording


def play(turn: Turn, engine: EngineChoice = "auto") -> Heard:
    """Simulate the turn and run the firmware over its pulses. Raises ``DeviceError`` where that fails."""
    sensor = preset("clean", pulses=MAGNETS, placement_rad=0.005, bounced=0.01)
    motion = simulate(wheel(turn.disc), turn.body, turn.plan, turn.seed)
    pulses = sense(motion, sensor, turn.seed)
    edges = Recording(pulses.t_us, pulses.step, rig_header(rig(turn.disc)), rig_override=rig(turn.disc))
    return Heard(turn, run_firmware(edges, engine=engine), edges)


def events(heard: Heard, boot: int, sequence: int) -> Iterator[tuple[float, Event]]:
    """(seconds since 1970, event) in order: what a link to that board would have told.

    ``sequence``: the number of the board's next record.
    """
    origin_s = heard.turn.starts.timestamp()
    wall_us = round(origin_s * 1e6)
    yield origin_s, Connected("barn-board", "B0", _status(), JOURNAL_ID, boot, 0, wall_us)
    told: list[tuple[float, Event]] = []
    for number, packed in enumerate(heard.run.records):
        record = _record(packed, boot, sequence + number)
        arrived = RepArrived(record.rep, record.cues, packed, JOURNAL_ID, record.sequence, boot)
        told.append((record.rep.end_us * 1e-6 + _ON_ITS_WAY_S, arrived))
    for first in range(0, len(heard.edges.t_us), _EDGES_A_MESSAGE):
        some = slice(first, first + _EDGES_A_MESSAGE)
        times = heard.edges.t_us[some] - heard.run.offset_us
        told.append((float(times[-1]) * 1e-6, EdgesArrived(boot, times, heard.edges.step[some], 0)))
    for at_s, event in sorted(told, key=lambda pair: pair[0]):
        yield origin_s + at_s, event


def _record(packed: bytes, boot: int, sequence: int) -> RepRecord:
    """The record as it lies in the board's journal and travels, decoded as the link decodes it."""
    wire = load_wire()
    head = struct.pack(wire.RECORD_HEAD_FORMAT, wire.RECORD_REP, len(packed), boot, sequence)
    record = decode_record(head + packed)
    assert isinstance(record, RepRecord)
    return record


def _status() -> BoardStatus:
    values: dict[str, Any] = {field.name: 0 for field in fields(BoardStatus)}
    told = {"pulses_per_rev": MAGNETS, "firmware_version": __version__, "platform": "simulated"}
    return BoardStatus(**{**values, **told})
