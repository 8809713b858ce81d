"""Runs the firmware over a recording and gathers what the board would have sent."""

from __future__ import annotations

import json
import struct
import subprocess
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from brakebeat.board.engine import Engine, EngineChoice, choose_engine, command_line
from brakebeat.board.files import load_wire
from brakebeat.board.messages import decode_rep
from brakebeat.errors import DeviceError
from brakebeat.formats.recording import Recording
from brakebeat.results import Analysis, Cue, Quality, split_sets

_BLOCK_EDGES = 4096
DRIVER = Path(__file__).parent / "vm" / "replay_driver.py"


@dataclass
class FirmwareRun:
    """What the firmware sent: packed rep records and cues on its own clock, which ``offset_us`` leads from to the
    recording's."""

    engine: Engine
    records: list[bytes] = field(default_factory=list)
    cues: list[Cue] = field(default_factory=list)
    quality: Quality = field(default_factory=Quality)
    offset_us: int = 0


def replay(
    recording: Recording, *, engine: EngineChoice = "auto", single_precision: bool = False
) -> Analysis:
    """What the board's own firmware makes of ``recording``, edge by edge in the recording's time.

    single_precision: with floats rounded as 32-bit boards round them, which takes CPython whatever the engine, and
    several times as long.

    Raises:
        InputError: the engine asked for is not installed.
        DeviceError: the firmware failed (its last words are in the message).
    """
    run = run_firmware(recording, engine=engine, single_precision=single_precision)
    analysis = Analysis(run.engine, len(recording.t_us), cues=run.cues, quality=run.quality)
    analysis.reps = [decode_rep(record, run.offset_us)[0] for record in run.records]
    analysis.sets = split_sets(analysis.reps, recording.rig.rest_gap_s)
    return analysis


def run_firmware(
    recording: Recording, *, engine: EngineChoice = "auto", single_precision: bool = False
) -> FirmwareRun:
    """The same, as the board sends it. Raises as ``replay`` does."""
    chosen = choose_engine("cpython" if single_precision else engine)
    command, edges = playing(recording, chosen, single_precision=single_precision)
    with tempfile.TemporaryFile() as errors:
        process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=errors)
        # The firmware's answers are short against its input: feeding first and reading after cannot block for
        # long, but a full pipe would; so answers go through `communicate`, which does both at once.
        output, _ = process.communicate(edges)
        errors.seek(0)
        complaint = errors.read().decode(errors="replace")
    if process.returncode != 0:
        raise DeviceError(_last_words(recording, chosen, process.returncode, complaint, output))
    return _collected(chosen, output.decode())


def playing(
    recording: Recording, engine: Engine, *, single_precision: bool = False
) -> tuple[list[str], bytes]:
    """The command that plays a recording to the firmware, and what it reads; it answers a rep with a line "R …"."""
    return command_line(engine, DRIVER, single_precision=single_precision), _input(recording)


def _input(recording: Recording) -> bytes:
    parts = [json.dumps(recording.rig.board_dict()).encode() + b"\n"]
    times = np.ascontiguousarray(recording.t_us, dtype="<i8")
    steps = np.ascontiguousarray(recording.step, dtype="i1")
    for first in range(0, len(times), _BLOCK_EDGES):
        block = slice(first, first + _BLOCK_EDGES)
        parts += [struct.pack("<I", len(times[block])), times[block].tobytes(), steps[block].tobytes()]
    return b"".join(parts)


def _collected(engine: Engine, output: str) -> FirmwareRun:
    run = FirmwareRun(engine)
    kinds = load_wire().CUE_NAMES
    for line in output.splitlines():
        kind, _, rest = line.partition(" ")
        if kind == "R":
            run.records.append(bytes.fromhex(rest))
        elif kind == "C":
            cue, rep, t_us = (int(word) for word in rest.split())
            run.cues.append(Cue(t_us, rep, kinds[cue]))
        elif kind == "Q":
            counters = json.loads(rest)
            run.offset_us = counters["offset_us"]
            names = ("bounced", "missed", "spurious", "overrun", "incomplete")
            run.quality = Quality(**{name: counters[name] for name in names})
    return run


def _last_words(recording: Recording, engine: str, code: int, complaint: str, output: bytes) -> str:
    # MicroPython prints uncaught exceptions to standard output or error, depending on the port.
    words = (complaint or output.decode(errors="replace")).strip().splitlines()
    reason = words[-1] if words else "it said nothing"
    return f"{recording.path}: the firmware on {engine} stopped with code {code}: {reason}"
