"""Packs a finished rep into the bytes that radio, journal and replay carry."""

import struct

from . import wire

MYPY = False
if MYPY:
    from typing import Any  # noqa: F401


def timing(fraction, braked, target, tolerance):
    # type: (float, bool | None, float, float) -> int
    """Where the brake onset fell: wire.TIMING_*."""
    if braked is None:
        return wire.TIMING_UNKNOWN
    if not braked:
        return wire.TIMING_NONE
    if fraction > target + tolerance:
        return wire.TIMING_LATE
    return wire.TIMING_EARLY if fraction < target - tolerance else wire.TIMING_INSIDE


def pack(record, figures, timing_code, flags, index, start_us, duration_us, cues):
    # type: (bytearray, Any, int, int, int, int, int, list[int]) -> None
    """Fill ``record``; cues: microseconds after the start by kind, wire.ABSENT where none sounded."""
    if start_us < 0:
        # The clock started with the first edge; the rep began before it. The record has no time before zero.
        duration_us = max(0, duration_us + start_us)
        start_us = 0
    onset_us = wire.ABSENT if figures.onset_s is None else int(figures.onset_s * 1e6)
    head = (1, timing_code, flags, index, start_us)
    times = (int(figures.extension_s * 1e6), max(0, int(figures.peak_s * 1e6)), duration_us, onset_us)
    angles = (figures.peak_rad_s, figures.concentric_rad, figures.eccentric_rad, figures.brake_fraction)
    values = head + times + angles + figures.concentric + figures.eccentric + tuple(cues)
    struct.pack_into(wire.REP_FORMAT, record, 0, *values)
