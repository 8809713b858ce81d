"""The whole board on the VM: a set to pull, orders in short, what came out."""

import functools
import struct
from pathlib import Path

import numpy as np
import pytest

from brakebeat.bench.soak import RIG
from brakebeat.bench.soaking.board import Outcome, run_board
from brakebeat.board.engine import micropython_command
from brakebeat.board.files import load_wire
from brakebeat.simulate import default_recording

needs_vm = pytest.mark.skipif(micropython_command() is None, reason="no MicroPython VM is installed")
WIRE = load_wire()
REPS = 3
# Nothing moves: the main loop's turn need not come each millisecond.
POWER = {"do": "power", "idle_us": 20_000}
CONNECT = {"do": "connect"}
REPORT = {"do": "report"}
# Longer than a set's pauses, and than the firmware takes to be sure that the wheel stands.
REST = {"do": "idle", "us": 15_000_000}


@functools.cache
def _gaps_us() -> tuple[int, ...]:
    recording, truth = default_recording(5, reps=REPS)
    assert len(truth["reps"]) == REPS
    return tuple(np.diff(recording.t_us, prepend=recording.t_us[0] - 500_000).tolist())


def gaps_us(part: slice = slice(None)) -> list[int]:
    """The gaps between the edges of a set of REPS reps, or some of them."""
    return list(_gaps_us()[part])


def half() -> int:
    """The place of an edge amid the set."""
    return len(_gaps_us()) // 2


def pull(part: slice = slice(None), **more: int) -> dict:
    """The order to pull that set (or a part of it)."""
    return {"do": "play", "gaps_us": gaps_us(part), **more}


def live(folder: Path, *orders: dict, heap: str = "16m") -> Outcome:
    """What comes of these orders; the board's files lie in ``folder``."""
    if not (folder / "rig.toml").exists():
        (folder / "rig.toml").write_text(RIG, "utf-8")
    return run_board(orders, folder, heap=heap)


def reps_of(outcome: Outcome) -> list:
    """The rep records that came."""
    return [record for record in outcome.records if record.kind == WIRE.RECORD_REP]


def flags(body: bytes) -> int:
    """A rep's flags."""
    return struct.unpack_from("<H", body, WIRE.field_offset(WIRE.REP_FIELDS, "flags"))[0]


def figures(record) -> bytes:
    """All figures of a rep from its speed on: what does not depend on when it was pulled."""
    first = WIRE.field_offset(WIRE.REP_FIELDS, "peak_rad_s")
    return record.body[first : WIRE.field_offset(WIRE.REP_FIELDS, "window_cue_after_us")]
