"""Packs a finished rep into the bytes that radio, journal and replay carry."""

import struct

from . import wire


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
