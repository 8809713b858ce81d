"""The host's files: recordings, rig files, Value Change Dumps."""

from __future__ import annotations

import numpy as np

from brakebeat.bench.fuzz_targets.given import file, firmware, must_name, scratch
from brakebeat.errors import InputError
from brakebeat.formats.recording import parse_recording, write_recording
from brakebeat.formats.rig import read_rig, write_rig
from brakebeat.interchange import list_channels, read_vcd


def recording(data: bytes) -> None:
    """A recording: refused by file and line, or read, and written it reads as the same."""
    try:
        read = parse_recording(data, "set.csv")
    except InputError as error:
        must_name(error, "set.csv")
        return
    path = scratch() / "again.csv"
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
    path = file("rig.toml", data)
    try:
        read = read_rig(path)
    except InputError as error:
        must_name(error, "rig.toml")
        return
    again = scratch() / "again.toml"
    write_rig(again, read)
    if read_rig(again) != read:
        raise AssertionError("a rig does not come back as it was")
    firmware("rigfile").parse(again.read_text("utf-8"))


def vcd(data: bytes) -> None:
    """A Value Change Dump."""
    path = file("dump.vcd", data)
    try:
        channels = list_channels(path)
        for channel in channels[:2]:
            t_us, step = read_vcd(path, channel.name)
            if t_us.size != step.size or not t_us.size:
                raise AssertionError("edges without steps")
    except InputError as error:
        must_name(error, "dump.vcd")
