"""Byte layouts of every message between board and host: the one place that both sides read.

A layout is a tuple of (field, struct code), little-endian, no padding. A field added later goes at the end;
a reader takes what it knows and skips the rest. The host loads this very file: nothing here may need a board.
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
FLAG_MAGNETS_STALE = 64
FLAG_NAMES = (
    (FLAG_FEW_EDGES, "few_edges"),
    (FLAG_ZERO_ASSUMED, "zero_assumed"),
    (FLAG_REPAIRED, "repaired"),
    (FLAG_THINNED, "thinned"),
    (FLAG_GAP, "gap"),
    (FLAG_MAGNETS_STALE, "magnets_stale"),
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


def field_offset(fields, name):
    # type: (tuple[tuple[str, str], ...], str) -> int
    """Bytes in front of field ``name`` in a layout."""
    names = [field for field, _ in fields]
    return struct.calcsize(layout_format(fields[: names.index(name)]))


REP_FORMAT = layout_format(REP_FIELDS)
REP_SIZE = struct.calcsize(REP_FORMAT)

# ---- Radio -------------------------------------------------------------------------------------------------
# One primary service. The UUIDs are random (version 4, RFC 9562) and differ in their first group only.
SERVICE_UUID = "f2af3db3-6752-4857-a6c0-3ebda55062b3"
REP_UUID = "f2af3db4-6752-4857-a6c0-3ebda55062b3"  # notify: finished reps, in parts (see below)
LIVE_UUID = "f2af3db5-6752-4857-a6c0-3ebda55062b3"  # notify: LIVE_FIELDS, about 20 a second, may be dropped
STATUS_UUID = "f2af3db6-6752-4857-a6c0-3ebda55062b3"  # read: STATUS_FIELDS, sealed
CONTROL_UUID = "f2af3db7-6752-4857-a6c0-3ebda55062b3"  # write: COMMAND_FIELDS, any number of them in a row

# A notification carries no more than MTU - 3 bytes, 20 at the default ATT MTU. So a message travels in parts:
# byte 0 is the message's number (mod 256), byte 1 the part's index with PART_LAST set on the last one.
# The message itself is sealed: its last four bytes are the CRC-32 of what comes before.
NOTIFY_OVERHEAD = 3
DEFAULT_MTU = 23
PART_HEADER_SIZE = 2
PART_INDEX_MASK = 0x7F
PART_LAST = 0x80
MAX_PARTS = 128
SEAL_SIZE = 4

# What happens now; fits one notification at the default MTU, so it is neither split nor sealed.
LIVE_FIELDS = (
    ("phase", "B"),  # PHASE_NAMES
    ("set_rep", "B"),  # finished reps of this set, momentum reps included; stops at 255
    ("cue_count", "B"),  # cues announced since power-up, mod 256: a change is a new cue
    ("cue_kind", "B"),  # the last one announced; CUE_NONE before the first
    ("cue_rep", "H"),  # the rep that it belongs to, low 16 bits
    ("reps_done", "H"),  # finished reps since power-up, low 16 bits
    ("cue_ms", "I"),  # when it sounded, on the board's clock
    ("speed_milli_rad_s", "i"),
    ("dropped", "H"),  # live notifications that a full radio queue swallowed, low 16 bits
)
LIVE_FORMAT = layout_format(LIVE_FIELDS)
LIVE_SIZE = struct.calcsize(LIVE_FORMAT)
PHASE_NAMES = ("idle", "concentric", "eccentric")
CUE_NONE = 255

# How the board is; text is UTF-8, padded with zero bytes. Sealed, as a long read may straddle an update.
STATUS_FIELDS = (
    ("protocol_version", "B"),
    ("reps_waiting", "B"),  # finished reps that no host has acknowledged yet
    ("connections", "H"),  # since power-up
    ("uptime_s", "I"),
    ("rep_count", "I"),
    ("bounced", "I"),
    ("missed", "I"),
    ("spurious", "I"),
    ("overrun", "I"),  # edges lost because a buffer was full
    ("incomplete", "I"),
    ("reps_lost", "I"),  # reps pushed out of a full queue before a host took them
    ("live_dropped", "I"),
    ("notify_retries", "I"),  # notifications that the radio's queue refused at first
    ("cues_sounded", "I"),
    ("firmware_version", "12s"),
    ("implementation", "12s"),  # sys.implementation.name
    ("platform", "12s"),  # sys.platform
    ("name", "20s"),
    ("trouble", "160s"),  # what is wrong with the rig file, the pins or the program; empty if nothing is
)
STATUS_FORMAT = layout_format(STATUS_FIELDS)
STATUS_SIZE = struct.calcsize(STATUS_FORMAT) + SEAL_SIZE

COMMAND_FIELDS = (("code", "B"), ("value", "I"))
COMMAND_FORMAT = layout_format(COMMAND_FIELDS)
COMMAND_SIZE = struct.calcsize(COMMAND_FORMAT)
# A host has subscribed and reads along: send every rep that waits. `value` is its protocol version.
COMMAND_LISTEN = 1
# Every rep up to index `value` has arrived; the board may forget them.
COMMAND_ACKNOWLEDGE = 2

# ---- Protocol 2 --------------------------------------------------------------------------------------------
# Each string is one field, its name and meaning in the comment behind it: boards carry the format alone, the
# host reads the names from this file. A newer side may append fields and kinds; what is unknown is skipped.
RAW_UUID = "f2af3db8-6752-4857-a6c0-3ebda55062b3"  # notify, opt-in: RAW_HEAD_FORMAT and coded edges

# What the rep characteristic carries in parts, sealed, and the journal keeps byte for byte: this head, a body.
RECORD_HEAD_FORMAT = (
    "<"
    "B"  # kind: RECORD_*; another kind is skipped (and acknowledged)
    "B"  # size: bytes of the body
    "H"  # boot: power-ups of the board so far, low 16 bits; times are on that power-up's clock
    "I"  # sequence: rises with every record for the life of the journal; may leave numbers out
)
RECORD_REP = 1  # body: REP_FORMAT
RECORD_TIME = 2  # body: TIME_FORMAT
TIME_FORMAT = (
    "<"
    "Q"  # board_us: the board's clock, microseconds since that power-up
    "Q"  # wall_us: at the same moment, microseconds since 1970-01-01 UTC, as a host told it
)

# A command: this head, `size` bytes of payload, the CRC-32 of both. Several may stand in one write.
COMMAND_HEAD_FORMAT = (
    "<"
    "B"  # code: COMMAND2_*
    "B"  # tag: any number; the answer repeats it
    "B"  # size: bytes of the payload
)
# The answer, indicated: this head, a payload, the CRC-32 of both; never longer than 20 bytes.
ANSWER_HEAD_FORMAT = (
    "<"
    "B"  # code: the command's, 0 where it could not be read
    "B"  # tag: the command's
    "B"  # error: ERROR_*
)
ERROR_NONE = 0
ERROR_MALFORMED = 1  # checksum or lengths are wrong: nothing of that write from there on was obeyed
ERROR_UNKNOWN = 2  # no such command
ERROR_REFUSED = 3  # needs a bonded, encrypted link (or the button, on ports without pairing)
ERROR_BUSY = 4  # the wheel turns, or an earlier one is still being done: try again at rest
ERROR_VERSION = 5  # no common protocol version; the payload is HELLO's answer all the same
ERROR_VALUE = 6  # a payload too short or a value out of range
ERROR_RIG = 7  # the rig file is wrong; the status says where in `trouble`
ERROR_STORAGE = 8  # the board could not write its flash
