"""``brakebeat calibrate``: what a rig is, from recordings made for the purpose or from a board's live edges."""

from __future__ import annotations

import argparse
import json
import math
import sys
from typing import TYPE_CHECKING, Any

from brakebeat.cli.board_options import add_board_arguments
from brakebeat.cli.live_edges import add_live_arguments, at_rest, live_recording, never, wants_live
from brakebeat.cli.numbers import positive
from brakebeat.errors import InputError

if TYPE_CHECKING:
    from brakebeat.calibrate.result import Calibration
    from brakebeat.formats.recording import Recording

_KINDS = {
    "magnets": "offsets of the magnets from even spacing, from a hand-spun wheel that runs out",
    "friction": "friction torque against speed, from the same recording",
    "inertia": "moment of inertia, from a falling mass, an added inertia, or dimensions",
    "strap": "drum radius and strap thickness, from known lengths pulled out slowly",
    "zero": "the edge nearest phi = 0, from a strap pulled all the way out",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """One subcommand for each thing that can be calibrated."""
    kinds = parser.add_subparsers(dest="kind", required=True, metavar="KIND")
    for kind, summary in _KINDS.items():
        one = kinds.add_parser(kind, help=summary, description=summary[0].upper() + summary[1:] + ".")
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
    one.add_argument("--inertia", type=positive, metavar="KG_M2", help="instead of the recording's")
    one.add_argument(
        "--inertia-uncertainty", type=positive, metavar="KG_M2", help="standard uncertainty of it"
    )


def _add_inertia(one: argparse.ArgumentParser) -> None:
    one.add_argument(
        "--falling-mass",
        type=positive,
        nargs="+",
        metavar="KG",
        help="one mass, or two for the two-mass method",
    )
    one.add_argument(
        "--mass-uncertainty",
        type=positive,
        default=0.002,
        metavar="PART",
        help="of the masses (default 0.002)",
    )
    one.add_argument("--radius-uncertainty", type=positive, metavar="M", help="of the drum radius")
    one.add_argument(
        "--left-on-drum", type=_not_below, metavar="M", help="strap on the drum as the mass lands (default 0)"
    )
    one.add_argument(
        "--gravity", type=positive, metavar="M_S2", help="where you live (default 9.80665 ± 0.015)"
    )
    one.add_argument(
        "--added-inertia",
        type=positive,
        metavar="KG_M2",
        help="two recordings: wheel bare, then with this on",
    )
    one.add_argument("--added-uncertainty", type=positive, default=0.0, metavar="KG_M2", help="of it")
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
        "--length-uncertainty", type=positive, default=0.0005, metavar="M", help="of radii (default 0.0005)"
    )


def _add_strap(one: argparse.ArgumentParser) -> None:
    one.add_argument(
        "--pulled", type=positive, nargs="+", metavar="M", help="the lengths, one after the other, in m"
    )
    one.add_argument(
        "--length-uncertainty", type=positive, default=0.001, metavar="M", help="(default 0.001)"
    )
    one.add_argument("--left-on-drum", type=_not_below, default=0.0, metavar="M", help="after the last pull")
    one.add_argument("--strap-thickness", type=_not_below, metavar="M", help="measured; else it is fitted")


def _add_zero(one: argparse.ArgumentParser) -> None:
    one.add_argument(
        "--at", type=_not_below, metavar="S", help="a moment at which it was held, from edge one"
    )


_ADD = {"friction": _add_friction, "inertia": _add_inertia, "strap": _add_strap, "zero": _add_zero}


def run(args: argparse.Namespace) -> int:
    """Calibrate, show, draw, and write on consent; 0 on success."""
    from brakebeat.calibrate.cautions import GUIDES

    caution, guide = GUIDES[args.kind]
    if args.how:
        print(f"{caution}\n\n{guide}")
        return 0
    if args.write is not None:
        _check_writable(args)
    result = _RUN[args.kind](args)
    if args.json:
        print(json.dumps(result.to_document(), allow_nan=False))
    else:
        from brakebeat.calibrate.show import words

        print(words(result))
    if args.write is not None:
        _offer_to_write(args, result)
    return 0


def _recordings(args: argparse.Namespace, counts: tuple[int, ...]) -> list[Recording]:
    from brakebeat.formats.recording import read_recording
    from brakebeat.samples import resolve

    if wants_live(args):
        if args.files:
            raise InputError(f"{args.files[0]}: give recordings or a board (--live, --port …), not both")
        return [_live(args, number, _takes(args, counts)) for number in range(_takes(args, counts))]
    if len(args.files) not in counts:
        wanted = " or ".join(str(count) for count in counts)
        raise InputError(
            f"{args.kind}: {len(args.files)} recordings given, {wanted} needed; "
            f"`brakebeat calibrate {args.kind} --how` says how to make one, --live takes edges from a board"
        )
    return [read_recording(resolve(file), args.rig) for file in args.files]


def _takes(args: argparse.Namespace, counts: tuple[int, ...]) -> int:
    """Live, each mass falls in a take of its own."""
    masses = getattr(args, "falling_mass", None)
    return len(masses) if masses and len(masses) in counts else counts[0]


def _live(args: argparse.Namespace, number: int, count: int) -> Recording:
    from brakebeat.calibrate.cautions import GUIDES
    from brakebeat.errors import DeviceError

    caution, guide = GUIDES[args.kind]
    # A wheel that is spun runs out; between pulls of a strap it stands as long as it takes to measure.
    spun = args.kind in ("magnets", "friction", "inertia")
    ends = "It ends by itself once the wheel stands" if spun else "Ctrl-C ends it"
    print(f"{caution}\n\n{guide}\n{ends}.", file=sys.stderr)
    if count > 1:
        print(f"\nTake {number + 1} of {count}{_what(args, number)}. ", end="", file=sys.stderr, flush=True)
        if sys.stdin.isatty():
            print("Press Enter when it is ready.", end="", file=sys.stderr, flush=True)
            sys.stdin.readline()
        print(file=sys.stderr)
    enough = at_rest if spun else never
    recorder, recording = live_recording(args, args.kind, number=number, count=count, enough=enough)
    if recording is None:
        raise DeviceError(
            f"{recorder.path}: not written, no edge has come; turn the wheel, check the sensor's wires and its "
            "distance from the magnets (`brakebeat board doctor` helps)"
        )
    return recording


def _what(args: argparse.Namespace, number: int) -> str:
    if args.falling_mass:
        return f": the mass of {args.falling_mass[number]:g} kg"
    return ": the bare wheel" if number == 0 else ": with the added inertia on"


def _magnets(args: argparse.Namespace) -> Calibration:
    from brakebeat.calibrate.magnets import magnets_of
    from brakebeat.calibrate.spin import read_spin

    spin = read_spin(_recordings(args, (1,))[0])
    result = magnets_of(spin)
    _draw_spin(args, spin, result)
    return result


def _friction(args: argparse.Namespace) -> Calibration:
    from brakebeat.calibrate.friction import friction_of, inertia_for
    from brakebeat.calibrate.spin import read_spin

    recording = _recordings(args, (1,))[0]
    inertia = inertia_for(recording, args.inertia)
    spin = read_spin(recording)
    result = friction_of(spin, inertia, args.inertia_uncertainty)
    _draw_spin(args, spin, result)
    return result


def _draw_spin(args: argparse.Namespace, spin: Any, result: Calibration) -> None:
    if args.plot:
        from brakebeat.calibrate.picture import draw_spin

        draw_spin(spin, result, args.plot)


def _inertia(args: argparse.Namespace) -> Calibration:
    from brakebeat.calibrate.inertia import Inertia, Masses

    if args.falling_mass and args.added_inertia:
        raise InputError(
            "inertia: --falling-mass and --added-inertia need recordings of their own; call twice, and compare"
        )
    inertia = Inertia()
    if args.falling_mass:
        masses = Masses(
            tuple(args.falling_mass),
            args.mass_uncertainty,
            args.radius_uncertainty,
            args.left_on_drum or 0.0,
            args.left_on_drum is not None,
            args.gravity,
        )
        inertia.add_falling(_recordings(args, (1, 2)), masses)
    elif args.added_inertia:
        inertia.add_added(_recordings(args, (2,)), args.added_inertia, args.added_uncertainty)
    elif args.files or wants_live(args):
        what = args.files[0] if args.files else "--live"
        raise InputError(f"{what}: say what the recording is of: --falling-mass or --added-inertia")
    parts, bolts = _parts(args)
    if parts or bolts:
        inertia.add_parts(parts, bolts, args.length_uncertainty)
    result = inertia.result()
    if args.plot:
        if not inertia.falls:
            raise InputError("--plot: only a falling mass has a fit to draw here")
        from brakebeat.calibrate.picture import draw_falls

        draw_falls([fall for fall, _, _ in inertia.falls], result, args.plot)
    return result


def _parts(args: argparse.Namespace) -> tuple[list[Any], list[Any]]:
    from brakebeat.calibrate.solids import Bolts, Part, material_of

    parts, bolts = [], []
    for radius, thickness, material in args.disc:
        name, mass = material_of(material, "--disc")
        parts.append(Part(_length("--disc", radius), _length("--disc", thickness), name, 0.0, mass))
    for inner, outer, thickness, material in args.annulus:
        name, mass = material_of(material, "--annulus")
        lengths = [_length("--annulus", text) for text in (outer, thickness, inner)]
        if lengths[2] >= lengths[0]:
            raise InputError(
                f"--annulus: inner radius {inner} is not below the outer one, {outer}; swap them"
            )
        parts.append(Part(lengths[0], lengths[1], name, lengths[2], mass))
    for count, each, circle in args.bolts:
        if not count.isdecimal() or int(count) < 1:
            raise InputError(f"--bolts: {count!r} is no count; give a whole number from 1 up")
        bolts.append(Bolts(int(count), _length("--bolts", each), _length("--bolts", circle)))
    return parts, bolts


def _strap(args: argparse.Namespace) -> Calibration:
    from brakebeat.calibrate.strap import calibrate_strap

    result = calibrate_strap(
        _recordings(args, (1,))[0],
        args.pulled or [],
        length_sigma_m=args.length_uncertainty,
        left_on_drum_m=args.left_on_drum,
        strap_thickness_m=args.strap_thickness,
    )
    if args.plot:
        from brakebeat.calibrate.picture import draw_strap

        draw_strap(result, args.plot)
    return result


def _zero(args: argparse.Namespace) -> Calibration:
    from brakebeat.calibrate.zero import calibrate_zero

    recording = _recordings(args, (1,))[0]
    result = calibrate_zero(recording, args.at)
    if args.plot:
        from brakebeat.calibrate.picture import draw_zero

        draw_zero(recording, result, args.plot)
    return result


_RUN = {
    "magnets": _magnets,
    "friction": _friction,
    "inertia": _inertia,
    "strap": _strap,
    "zero": _zero,
}


def _check_writable(args: argparse.Namespace) -> None:
    from brakebeat.formats.rig import read_rig

    read_rig(args.write)
    if not args.yes and not sys.stdin.isatty():
        raise InputError(
            f"--write {args.write}: there is nobody to ask here; add --yes to write without asking"
        )


def _offer_to_write(args: argparse.Namespace, result: Calibration) -> None:
    from brakebeat.calibrate.rig_file import update_rig

    values = result.rig_values()
    if not values:
        raise InputError(
            f"--write {args.write}: nothing is known well enough to write; the file stays as it is"
        )
    if not args.yes:
        print(f"Write {', '.join(values)} into {args.write}? [y/N] ", end="", file=sys.stderr, flush=True)
        if sys.stdin.readline().strip().lower() not in ("y", "yes"):
            print("Nothing was written.", file=sys.stderr)
            return
    kept = update_rig(args.write, values)
    print(f"{args.write}: written; the old one is {kept}", file=sys.stderr)


def _not_below(text: str) -> float:
    value = float(text)
    if not (math.isfinite(value) and value >= 0.0):
        raise argparse.ArgumentTypeError(f"{text} is below 0")
    return value


def _length(option: str, text: str) -> float:
    try:
        return positive(text)
    except (ValueError, argparse.ArgumentTypeError) as error:
        raise InputError(f"{option}: {text!r} is no number above 0 (m or kg)") from error
