"""The options of ``brakebeat simulate``; each tuple is (option's name in the code, type, help)."""

from __future__ import annotations

import argparse
from typing import Any

from brakebeat.cli.numbers import number

Option = tuple[str, Any, str, str]


# name, type, metavar, help. A metavar that ends in "..." takes several values.
PLAN_OPTIONS: tuple[Option, ...] = (
    ("reps", int, "N", "reps in a set (8)"),
    ("sets", int, "N", "sets (1)"),
    ("rest_s", number, "S", "rest between sets (20)"),
    ("start_idle_s", number, "S", "rest before the first pull (2)"),
    ("efforts", number, "SHARE...", "effort by rep, 0.05 to 1.4, the last goes on (0.5 0.7 0.95)"),
    ("brake_fractions", number, "F...", "brake fraction by rep, the last goes on (0.25)"),
    ("late", int, "REP...", "reps that brake late, counted from 0 as in JSON: 4 is the fifth"),
    ("late_fraction", number, "F", "brake fraction of the late reps (0.5)"),
    ("ramps_s", number, "S...", "time in which the brake builds up, by rep (0.12)"),
    ("pauses_s", number, "S...", "pause at the bottom after each rep (0: the wheel turns straight round)"),
    ("stop_rad", number, "RAD", "shaft angle of a whole range (38)"),
    ("stop_shares", number, "SHARE...", "share of the range at which each rep stops (1)"),
    ("fatigue", number, "SHARE", "force lost with each rep (0.01)"),
)
RIG_OPTIONS: tuple[Option, ...] = (
    ("inertia_kg_m2", number, "X", "inertia of all that turns"),
    ("drum_radius_m", number, "X", "drum radius with the strap paid out"),
    ("strap_thickness_m", number, "X", "strap thickness"),
    ("drum_taper_m_per_rad", number, "X", "taper of a conical drum"),
    ("friction_torque_nm", number, "X", "friction that does not depend on speed"),
    ("friction_viscous_nm_s", number, "X", "friction that grows with speed"),
    ("friction_drag_nm_s2", number, "X", "friction that grows with speed squared"),
    ("brake_target", number, "F", "middle of the brake window (0.25)"),
    ("brake_tolerance", number, "F", "half the width of the brake window (0.10)"),
    ("momentum_reps", int, "N", "momentum reps at the start of a set (2)"),
    ("rest_gap_s", number, "S", "a longer rest starts a new set (10)"),
)
SENSOR_OPTIONS: tuple[Option, ...] = (
    ("jitter_us", number, "US", "standard deviation of the time stamps"),
    ("latency_us", number, "US", "delay of every time stamp"),
    ("placement_rad", number, "RAD", "greatest placement error of a magnet"),
    ("hysteresis_rad", number, "RAD", "how far apart a magnet's edges lie in the two senses"),
    ("missed", number, "P", "probability that an edge is missed"),
    ("bounced", number, "P", "probability that an edge bounces"),
    ("spurious_per_s", number, "RATE", "edges a second from nowhere"),
    ("drift_ppm", number, "PPM", "by how much the board's clock runs fast"),
    ("ticks_wrap", int, "N", "modulus of the counter (1073741824 on many boards)"),
    ("from_s", number, "S", "start recording this late, in motion perhaps"),
    ("until_s", number, "S", "stop recording this early"),
)
# Options whose name differs from the field's, and other names that errors use.
_NAMES = {
    "efforts": "--effort",
    "brake_fractions": "--brake-fraction",
    "ramps_s": "--ramp-s",
    "brake_ramp_s": "--ramp-s",
    "pauses_s": "--pause-s",
    "stop_rad": "--range-rad",
    "stop_shares": "--range-share",
    "drum_taper_m_per_rad": "--taper-m-per-rad",
    "ticks_wrap": "--wrap",
    "idle_s": "--start-idle-s",
    "fatigue_per_rep": "--fatigue",
}


def option_of(name: str) -> str:
    """How a field is spelled on the command line."""
    known = {option[0] for option in (*PLAN_OPTIONS, *RIG_OPTIONS, *SENSOR_OPTIONS)}
    known |= {"preset", "magnets", "encoder", "effort", "brake_fraction", "pause_s"}
    return _NAMES.get(name) or ("--" + name.replace("_", "-") if name in known else name)


def given(args: argparse.Namespace, options: tuple[Option, ...]) -> dict[str, Any]:
    """Those of the options that the call gives, by their name in the code."""
    values = {name: getattr(args, name) for name, *_ in options}
    return {name: value for name, value in values.items() if value is not None}


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare every option."""
    parser.epilog = (
        "Example: brakebeat simulate --out set.csv --truth set.json --seed 7 --preset dirty --late 4 6"
    )
    parser.add_argument("--out", metavar="FILE", help="where the recording goes")
    parser.add_argument("--truth", metavar="FILE", help="where the truth goes, as JSON")
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="draws all that is left to chance (1)"
    )
    parser.add_argument("--json", action="store_true", help="print a summary as one JSON document")
    parser.add_argument(
        "--with-zero", action="store_true", help="write zero_index into the recording's header"
    )
    parser.add_argument("--case", metavar="NAME", help="one of the hard sessions instead of the default one")
    parser.add_argument("--list-cases", action="store_true", help="list the hard sessions, write nothing")
    _group(parser, "what the athlete does", PLAN_OPTIONS)
    instead = parser.add_argument_group("a recording to calibrate with, instead of a set")
    motion = instead.add_mutually_exclusive_group()
    motion.add_argument("--spin", type=number, metavar="RAD_S", help="spun by hand, then left to run out")
    motion.add_argument("--fall", type=number, metavar="KG", help="a mass falls on 1.2 m of strap")
    motion.add_argument("--pulls", type=number, nargs="+", metavar="M", help="lengths pulled out slowly")
    _group(parser, "the rig (the invented barn wheel unless told otherwise)", RIG_OPTIONS)
    sensor = _group(parser, "the sensor (an option wins over the preset)", SENSOR_OPTIONS)
    sensor.add_argument(
        "--preset",
        default="clean",
        metavar="NAME",
        help="perfect, clean (default) or dirty: a sensor's faults",
    )
    sensor.add_argument("--two-halls", action="store_true", help="two hall sensors: edges carry the sense")
    which = sensor.add_mutually_exclusive_group()
    which.add_argument("--magnets", type=int, default=6, metavar="N", help="magnets in one turn, 1 to 24 (6)")
    which.add_argument("--encoder", type=int, metavar="COUNTS", help="a quadrature encoder, counts a turn")


def _group(parser: argparse.ArgumentParser, title: str, options: tuple[Option, ...]) -> Any:
    group = parser.add_argument_group(title)
    for name, kind, metavar, text in options:
        several: dict[str, Any] = {"nargs": "+"} if metavar.endswith("...") else {}
        group.add_argument(
            option_of(name), dest=name, type=kind, metavar=metavar.removesuffix("..."), help=text, **several
        )
    return group
