"""Byte layouts of every message between board and host: the one place that both sides read.

A layout is a tuple of (field, struct code), little-endian, no padding. A field added later goes at the end; a
reader takes what it knows and skips the rest. The host loads this very file, so nothing here may need a board.
"""

import struct

PROTOCOL_VERSION = 1

# u32 "there is none" for times given as microseconds after the rep's start; floats use NaN for it.
ABSENT = 0xFFFFFFFF

# `timing` of a rep: where the brake onset fell.
TIMING_EARLY = 0
TIMING_INSIDE = 1
TIMING_LATE = 2
TIMING_NONE = 3
TIMING_UNKNOWN = 255
TIMING_NAMES = {0: "early", 1: "inside", 2: "late", 3: "none"}

# Bits of a rep's `flags`, with the names that the host shows.
FLAG_MOMENTUM = 1
FLAG_FEW_EDGES = 2
FLAG_ZERO_ASSUMED = 4
FLAG_REPAIRED = 8
FLAG_THINNED = 16
FLAG_GAP = 32
FLAG_NAMES = (
    (FLAG_FEW_EDGES, "few_edges"),
    (FLAG_ZERO_ASSUMED, "zero_assumed"),
    (FLAG_REPAIRED, "repaired"),
    (FLAG_THINNED, "thinned"),
    (FLAG_GAP, "gap"),
)

# Kinds of cue.
CUE_WINDOW = 0
CUE_LATE = 1
CUE_DROP_OFF = 2
CUE_SET_DONE = 3
CUE_NAMES = ("window", "late", "drop_off", "set_done")

# A finished rep. `*_after_us` counts from `start_us`; figures are the athlete's, positive, in SI units.
REP_FIELDS = (
    ("version", "B"),
    ("timing", "B"),
    ("flags", "H"),
    ("index", "I"),
    ("start_us", "Q"),
    ("extension_after_us", "I"),
    ("peak_after_us", "I"),
    ("end_after_us", "I"),
    ("onset_after_us", "I"),
    ("peak_rad_s", "f"),
    ("concentric_rad", "f"),
    ("eccentric_rad", "f"),
    ("brake_fraction", "f"),
    ("concentric_energy_j", "f"),
    ("concentric_mean_power_w", "f"),
    ("concentric_peak_power_w", "f"),
    ("concentric_peak_torque_nm", "f"),
    ("concentric_peak_force_n", "f"),
    ("eccentric_energy_j", "f"),
    ("eccentric_mean_power_w", "f"),
    ("eccentric_peak_power_w", "f"),
    ("eccentric_peak_torque_nm", "f"),
    ("eccentric_peak_force_n", "f"),
    ("window_cue_after_us", "I"),
    ("late_cue_after_us", "I"),
    ("drop_off_cue_after_us", "I"),
    ("set_done_cue_after_us", "I"),
)


def layout_format(fields):
    # type: (tuple[tuple[str, str], ...]) -> str
    """The struct format of a layout: little-endian, no padding."""
    return "<" + "".join([code for _, code in fields])


REP_FORMAT = layout_format(REP_FIELDS)
REP_SIZE = struct.calcsize(REP_FORMAT)
