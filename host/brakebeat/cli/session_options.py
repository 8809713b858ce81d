"""The options that ``coach`` and ``serve`` share; what they say is made of them in ``coach.options``."""

from __future__ import annotations

import argparse
from pathlib import Path

from brakebeat.cli.numbers import count, positive
from brakebeat.store.location import add_store_option


def add_session_arguments(parser: argparse.ArgumentParser) -> None:
    """Who, what, on which rig, how much."""
    group = parser.add_argument_group("the session (what is left out is asked for on a terminal)")
    group.add_argument("--athlete", metavar="NAME", help="who trains")
    group.add_argument("--exercise", metavar="NAME", help="what is done")
    group.add_argument("--rig", type=Path, metavar="FILE", help="rig file; without it, the rig used last")
    group.add_argument(
        "--plan",
        type=count,
        metavar="N",
        help="a plan kept by `plan --athlete`: its athlete, exercise and next session",
    )
    group.add_argument(
        "--session", type=count, metavar="N", help="go on with session N of the log (after another disc, say)"
    )
    group.add_argument("--sets", type=count, metavar="N", help="sets (4)")
    group.add_argument("--reps", type=count, metavar="N", help="reps of a set, momentum reps not counted (7)")
    group.add_argument("--rest", type=positive, metavar="S", help="rest between sets, in seconds (180)")
    group.add_argument(
        "--target-speed", type=positive, metavar="RAD_S", help="peak speed to aim at, in rad/s"
    )
    group.add_argument(
        "--target-power", type=positive, metavar="W", help="mean concentric power to aim at, in W"
    )
    parser.add_argument("--stop-after", type=count, metavar="N", help="end the program after N reps")
    add_store_option(parser)
