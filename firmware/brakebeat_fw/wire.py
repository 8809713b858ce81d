"""Byte layouts of every message between board and host: the one place that both sides read.

Little-endian, no padding. Each string of a format is one field; its name and meaning stand in the comment behind it.
A board carries the formats alone; the host reads names, numbers and words from this file's text
(`brakebeat.board.layouts`), and the protocol page in the hardware notes is made from it too.
"sealed": the CRC-32 of all before it follows.
A field added later goes at the end of its layout, a kind or command gets a new number: what is unknown is skipped.
"""

import struct

PROTOCOL_VERSION = 2

# Times that do not exist; floats use NaN for it.
ABSENT = 0xFFFFFFFF

# Bits of a rep's `flags`.
FLAG_MOMENTUM = 1
FLAG_FEW_EDGES = 2
FLAG_ZERO_ASSUMED = 4
FLAG_REPAIRED = 8
FLAG_THINNED = 16
FLAG_GAP = 32
FLAG_MAGNETS_STALE = 64

# Kinds of cue.
CUE_WINDOW = 0
CUE_LATE = 1
CUE_DROP_OFF = 2
CUE_SET_DONE = 3
CUE_NAMES = ("window", "late", "drop_off", "set_done")

# A finished rep. `*_after_us` counts from `start_us`; figures are the athlete's, positive, in SI units.
REP_FORMAT = (
    "<"
    "B"  # version: of this layout, 1
    "B"  # timing: where the brake onset fell: 0 early, 1 inside, 2 late, 3 none, 255 unknown
    "H"  # flags: FLAG_*
    "I"  # index: counts from 0 at each power-up
    "Q"  # start_us: on the board's clock
    "I"  # extension_after_us
    "I"  # peak_after_us
    "I"  # end_after_us
    "I"  # onset_after_us: ABSENT where there is none
    "f"  # peak_rad_s
    "f"  # concentric_rad
    "f"  # eccentric_rad
    "f"  # brake_fraction
    "f"  # concentric_energy_j
    "f"  # concentric_mean_power_w
    "f"  # concentric_peak_power_w
    "f"  # concentric_peak_torque_nm
    "f"  # concentric_peak_force_n
    "f"  # eccentric_energy_j
    "f"  # eccentric_mean_power_w
    "f"  # eccentric_peak_power_w
    "f"  # eccentric_peak_torque_nm
    "f"  # eccentric_peak_force_n
    "I"  # window_cue_after_us: ABSENT where none sounded, as with the three below
    "I"  # late_cue_after_us
    "I"  # drop_off_cue_after_us
    "I"  # set_done_cue_after_us
)
REP_SIZE = struct.calcsize(REP_FORMAT)

# ---- Radio -------------------------------------------------------------------------------------------------
# One primary service and its characteristics: random UUIDs (version 4, RFC 9562) that differ in one digit.
UUID = "f2af3db%s-6752-4857-a6c0-3ebda55062b3"
UUID_DIGITS = (
    "3"  # SERVICE
    "4"  # REP: notify; records in parts (see below)
    "5"  # LIVE: notify; LIVE_FORMAT, about 20 a second, may be dropped
    "6"  # STATUS: read, sealed STATUS_FORMAT; notify, its first bytes, as a hint to read it again
    "7"  # CONTROL: write, any number of commands in a row; indicate, their answers
    "8"  # RAW: notify, opt-in; RAW_HEAD_FORMAT and coded edges
)

# A notification carries no more than MTU - 3 bytes, 20 at the default ATT MTU. So a record travels in parts:
# byte 0 is the message's number (mod 256), byte 1 the part's index with PART_LAST set on the last one.
DEFAULT_MTU = 23
PART_LAST = 0x80

# What travels in parts, sealed, and lies in the journal byte for byte: this head, then `size` bytes of body.
RECORD_HEAD_FORMAT = (
    "<"
    "B"  # kind: RECORD_*; another kind is skipped, and acknowledged
    "B"  # size: bytes of the body
    "H"  # boot: power-ups of the board so far, low 16 bits; times are on that power-up's clock
    "I"  # sequence: rises with every record for the life of the journal; may leave numbers out
)
# RECORD 1 REP: body in REP_FORMAT
# RECORD 2 TIME: body in TIME_FORMAT
TIME_FORMAT = (
    "<"
    "Q"  # board_us: microseconds since that power-up
    "Q"  # wall_us: at the same moment, microseconds since 1970-01-01 UTC, as a host told it
)

# What happens now; fits one notification at the default MTU, so it is neither split nor sealed.
LIVE_FORMAT = (
    "<"
    "B"  # phase: 0 idle, 1 concentric, 2 eccentric
    "B"  # set_rep: finished reps of this set, momentum reps included; stops at 255
    "B"  # cue_count: cues announced since power-up, mod 256: a change is a new cue
    "B"  # cue_kind: CUE_*, the last one announced; 255 before the first
    "H"  # cue_rep: index of the rep that it belongs to, low 16 bits
    "H"  # reps_done: finished reps since power-up, low 16 bits
    "I"  # cue_ms: when it sounded, on the board's clock
    "i"  # speed_milli_rad_s
    "H"  # dropped: live notifications that a full radio queue swallowed, low 16 bits
)

LIVE_SIZE = struct.calcsize(LIVE_FORMAT)

# Raw edges: this head, then for each edge a LEB128 number: delta_us << 2 | step & 3 (delta_us: since the edge
# before, 0 for the first). Without edges one a second comes all the same, first_us being now.
RAW_HEAD_FORMAT = (
    "<"
    "H"  # number: notifications since RAW_START, low 16 bits
    "H"  # lost: edges that the board lost since RAW_START, low 16 bits
    "I"  # first_us: the first edge's time on the board's clock, low 32 bits
)

# How the board is; counters since its power-up. Text is UTF-8, padded with zero bytes.
STATUS_FORMAT = (
    "<"
    "B"  # protocol_version
    "B"  # state: STATE_*
    "H"  # boot: power-ups so far, low 16 bits
    "I"  # uptime_s
    "I"  # journal_next: sequence of the next record
    "I"  # journal_oldest: no record before this one is left
    "I"  # journal_id: another one is another journal; its sequences started anew
    "H"  # reps_waiting: records that no host has acknowledged
    "H"  # connections
    "I"  # rep_count
    "I"  # bounced
    "I"  # missed
    "I"  # spurious
    "I"  # overrun: edges lost because a buffer was full
    "I"  # incomplete
    "I"  # reps_lost: records that found room neither in the journal nor before it
    "I"  # journal_overwritten: records overwritten before any host acknowledged them
    "I"  # journal_torn: records and blocks found damaged
    "I"  # journal_erases: erases of one block, at most
    "I"  # program_us: longest write of a record
    "I"  # erase_us: longest erase of a block
    "I"  # live_dropped
    "I"  # notify_retries: notifications that the radio's queue refused at first
    "I"  # cues_sounded
    "I"  # raw_lost: edges lost in raw streams
    "I"  # refused: commands that were malformed or not allowed
    "I"  # free_flash: bytes; ABSENT where unknown
    "H"  # supply_mv: 0xFFFF where it is not measured
    "12s"  # firmware_version
    "12s"  # implementation: sys.implementation.name
    "12s"  # platform: sys.platform
    "20s"  # name
    "160s"  # trouble: what is wrong with the rig file, the pins or the program; empty if nothing is
    "H"  # pulses_per_rev: of the rig in force
    "I"  # rig_crc: CRC-32 of the rig file in force; 0 where there is none
    "I"  # faults: errors of the program that it went on after
)
STATUS_SIZE = struct.calcsize(STATUS_FORMAT)
# STATE 1 MOVING: the wheel turns or did so within the last 2 s
# STATE 2 BONDABLE: new bonds are taken now (without pairing: changes are)
# STATE 4 PAIRING: this port can pair
# STATE 8 TRUSTED: this link may change things
# STATE 16 RAW: raw edges are on

# A command: this head, `size` bytes of payload, the CRC-32 of both. Each is whole within one write.
COMMAND_HEAD_FORMAT = (
    "<"
    "B"  # code: COMMAND_*
    "B"  # tag: any number; the answer repeats it
    "B"  # size: bytes of the payload
)
# The answer: this head, a payload, the CRC-32 of both; never longer than 20 bytes.
ANSWER_HEAD_FORMAT = (
    "<"
    "B"  # code: the command's; 0 where it could not be read
    "B"  # tag: the command's
    "B"  # error: ERROR_*
)
# Payload -> what the answer carries; "trusted": from a bonded, encrypted link only.
# COMMAND 1 HELLO: "<BB" lowest and highest version spoken -> HELLO_FORMAT; live messages begin
# COMMAND 2 FROM: "<I" sequence; delivery (re)starts with the first record from there on, 0: with the oldest
# COMMAND 3 ACKNOWLEDGE: "<I" sequence; it and all before have arrived; not answered where it is right
# COMMAND 4 TIME: "<Q" wall_us -> "<QH" board_us, boot; from a trusted link kept as a record, hourly at most
# COMMAND 5 RAW_START: trusted -> "<Q" board_us
# COMMAND 6 RAW_STOP: ends the raw edges
# COMMAND 7 RIG_BEGIN: trusted; "<HI" size and CRC-32 of a new rig file
# COMMAND 8 RIG_PART: trusted; "<H" offset, bytes
# COMMAND 9 RIG_COMMIT: trusted, at rest; in force at once, but pins, name and radio at the next power-up
# COMMAND 10 ERASE: trusted, at rest; "<I" journal_id; done block by block while the wheel stands
# COMMAND 11 MAGNETS: "<B" first -> "<BB" magnets, reps learnt from; 5 offsets at most from there on, "<h" 1e-4 rad
HELLO_FORMAT = (
    "<"
    "B"  # version: what both speak; the board's own where there is none
    "I"  # journal_id
    "I"  # oldest: as journal_oldest
    "I"  # next: as journal_next
)
# ERROR 0 NONE: done
# ERROR 1 MALFORMED: lengths or checksum are wrong; nothing from there on was obeyed
# ERROR 2 UNKNOWN: no such command
# ERROR 3 REFUSED: needs a trusted link
# ERROR 4 BUSY: the wheel turns, or has not yet stood still for 2 s; try again
# ERROR 5 VERSION: no common protocol version
# ERROR 6 VALUE: the payload is too short or a value out of range
# ERROR 7 RIG: the new rig file is wrong, the old one stays; `trouble` in the status has the words
# ERROR 8 STORAGE: the board could not write its files
