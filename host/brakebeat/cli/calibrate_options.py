"""Options of `brakebeat calibrate`, for each thing that can be calibrated."""

from __future__ import annotations

import argparse

from brakebeat.cli.actions import add_action, choices
from brakebeat.cli.board_options import add_board_arguments
from brakebeat.cli.live_edges import add_live_arguments
from brakebeat.cli.numbers import not_below, positive

_KINDS = {
    "magnets": "offsets of the magnets from even spacing, from a hand-spun wheel that runs out",
    "friction": "friction torque against speed, from the recording that the magnets want, too",
    "inertia": "moment of inertia, from a falling mass, an added inertia, or dimensions",
    "strap": "drum radius and strap thickness, from known lengths pulled out slowly",
    "zero": "the edge nearest phi = 0, from a strap pulled all the way out",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """One subcommand for each thing that can be calibrated."""
    kinds = parser.add_subparsers(dest="kind", required=True, metavar=choices(_KINDS))
    for kind, summary in _KINDS.items():
        one = add_action(kinds, kind, summary)
        one.add_argument(
            "files",
            metavar="FILE",
            nargs="*",
            help="pulse recording made for it; none: live edges, see below",
        )
        one.add_argument("--how", action="store_true", help="say how to make the recording, with cautions")
        one.add_argument("--rig", metavar="RIG", help="rig file; what it states wins over the header")
        one.add_argument("--json", action="store_true", help="print one JSON document and nothing else")
        one.add_argument("--plot", metavar="PNG", help="draw the fit into a picture")
        one.add_argument(
            "--write", metavar="RIG", help="offer to put the result into this rig file; the old one is kept"
        )
        one.add_argument("--yes", action="store_true", help="do not ask before writing")
        _ADD.get(kind, lambda _: None)(one)
        add_live_arguments(one)
        add_board_arguments(one, several=False)


def _add_friction(one: argparse.ArgumentParser) -> None:
    one.add_argument("--inertia", type=positive, metavar="KG_M2", help="in kg·m², instead of the recording's")
    one.add_argument(
        "--inertia-uncertainty", type=positive, metavar="KG_M2", help="its standard uncertainty, in kg·m²"
    )


def _add_inertia(one: argparse.ArgumentParser) -> None:
    one.add_argument(
        "--falling-mass",
        type=positive,
        nargs="+",
        metavar="KG",
        help="one mass, or two for the two-mass method, in kg",
    )
    one.add_argument(
        "--mass-uncertainty",
        type=positive,
        default=0.002,
        metavar="PART",
        help="standard uncertainty of the masses, as a part of them (0.002)",
    )
    one.add_argument(
        "--radius-uncertainty",
        type=positive,
        metavar="M",
        help="standard uncertainty of the drum radius, in m",
    )
    one.add_argument(
        "--left-on-drum",
        type=not_below,
        metavar="M",
        help="strap left on the drum as the mass lands, in m (0)",
    )
    one.add_argument(
        "--gravity", type=positive, metavar="M_S2", help="gravity where you live, in m/s² (9.80665 ± 0.015)"
    )
    one.add_argument(
        "--added-inertia",
        type=positive,
        metavar="KG_M2",
        help="in kg·m²; two recordings: wheel bare, then with this on",
    )
    one.add_argument(
        "--added-uncertainty",
        type=positive,
        default=0.0,
        metavar="KG_M2",
        help="its standard uncertainty, in kg·m²",
    )
    _add_dimensions(one)


def _add_dimensions(one: argparse.ArgumentParser) -> None:
    one.add_argument(
        "--disc", action="append", nargs=3, metavar=("RADIUS_M", "THICKNESS_M", "MATERIAL"), default=[],
        help="a disc; MATERIAL is a name or kg=MASS",
    )  # fmt: skip
    one.add_argument(
        "--annulus", action="append", nargs=4, default=[],
        metavar=("INNER_M", "OUTER_M", "THICKNESS_M", "MATERIAL"), help="a flat ring",
    )  # fmt: skip
    one.add_argument(
        "--bolts", action="append", nargs=3, default=[], metavar=("COUNT", "KG_EACH", "CIRCLE_RADIUS_M"),
        help="bolts, magnets, washers on a circle",
    )  # fmt: skip
    one.add_argument(
        "--length-uncertainty",
        type=positive,
        default=0.0005,
        metavar="M",
        help="standard uncertainty of radii, in m (0.0005)",
    )


def _add_strap(one: argparse.ArgumentParser) -> None:
    one.add_argument(
        "--pulled", type=positive, nargs="+", metavar="M", help="the lengths, one after the other, in m"
    )
    one.add_argument(
        "--length-uncertainty",
        type=positive,
        default=0.001,
        metavar="M",
        help="standard uncertainty of each length, in m (0.001)",
    )
    one.add_argument(
        "--left-on-drum",
        type=not_below,
        default=0.0,
        metavar="M",
        help="strap left on it after the last pull, in m (0)",
    )
    one.add_argument(
        "--strap-thickness", type=not_below, metavar="M", help="measured, in m; else it is fitted"
    )


def _add_zero(one: argparse.ArgumentParser) -> None:
    one.add_argument(
        "--at",
        type=not_below,
        metavar="S",
        help="a moment at which the strap was held, in s from the first edge",
    )


_ADD = {"friction": _add_friction, "inertia": _add_inertia, "strap": _add_strap, "zero": _add_zero}
