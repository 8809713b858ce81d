"""Packs a finished rep into the bytes that radio, journal and replay carry."""

import struct

from micropython import const

from . import wire

_TIMING_EARLY = const(0)
_TIMING_INSIDE = const(1)
_TIMING_LATE = const(2)
_TIMING_NONE = const(3)
_TIMING_UNKNOWN = const(255)


def timing(fraction, braked, target, tolerance):
    # type: (float, bool | None, float, float) -> int
    """Where the brake onset fell: the field `timing`."""
    if braked is None:
        return _TIMING_UNKNOWN
    if not braked:
        return _TIMING_NONE
    if fraction > target + tolerance:
        return _TIMING_LATE
    return _TIMING_EARLY if fraction < target - tolerance else _TIMING_INSIDE


def pack(record, figures, timing_code, flags, index, start_us, duration_us, cues):
    # type: (bytearray, Any, int, int, int, int, int, list[int]) -> None
    """Fill ``record``; cues: microseconds after the start by kind, wire.ABSENT where none sounded."""
    # Where the clock started with the first edge the rep began before it; the record has no time before zero.
    cut_us = min(start_us, 0)
    onset_us = wire.ABSENT
    if figures.onset_s is not None:
        onset_us = max(0, int(figures.onset_s * 1e6) + cut_us)
    head = (1, timing_code, flags, index, start_us - cut_us)
    times = (
        max(0, int(figures.extension_s * 1e6) + cut_us),
        max(0, int(figures.peak_s * 1e6) + cut_us),
        max(0, duration_us + cut_us),
        onset_us,
    )
    cues = [cue if cue == wire.ABSENT else max(0, cue + cut_us) for cue in cues]
    angles = (figures.peak_rad_s, figures.concentric_rad, figures.eccentric_rad, figures.brake_fraction)
    values = head + times + angles + figures.concentric + figures.eccentric + tuple(cues)
    struct.pack_into(wire.REP_FORMAT, record, 0, *values)
