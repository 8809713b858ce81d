"""``brakebeat calibrate``: what a rig is, from recordings made for the purpose or from a board's live edges."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING, Any

from brakebeat.cli.calibrate_options import add_arguments
from brakebeat.cli.calibrate_takes import recordings_for
from brakebeat.cli.calibrate_writing import check_writable, offer_to_write
from brakebeat.cli.live_edges import wants_live
from brakebeat.cli.numbers import positive
from brakebeat.errors import InputError

__all__ = ["add_arguments", "run"]

if TYPE_CHECKING:
    from brakebeat.calibrate.inertia import Inertia
    from brakebeat.calibrate.result import Calibration


def run(args: argparse.Namespace) -> int:
    """Calibrate, show, draw, and write on consent; 0 on success."""
    from brakebeat.calibrate.cautions import GUIDES

    caution, guide = GUIDES[args.kind]
    if args.how:
        print(f"{caution}\n\n{guide}")
        return 0
    if args.write is not None:
        check_writable(args)
    result = _RUN[args.kind](args)
    if args.json:
        print(json.dumps(result.to_document(), allow_nan=False))
    else:
        from brakebeat.calibrate.show import words

        print(words(result))
    if args.write is not None:
        offer_to_write(args, result)
    return 0


def _magnets(args: argparse.Namespace) -> Calibration:
    from brakebeat.calibrate.magnets import magnets_of
    from brakebeat.calibrate.spin import read_spin

    spin = read_spin(recordings_for(args, (1,))[0])
    result = magnets_of(spin)
    _draw_spin(args, spin, result)
    return result


def _friction(args: argparse.Namespace) -> Calibration:
    from brakebeat.calibrate.friction import friction_of, inertia_for
    from brakebeat.calibrate.spin import read_spin

    recording = recordings_for(args, (1,))[0]
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
        inertia.add_falling(recordings_for(args, (1, 2)), masses)
    elif args.added_inertia:
        inertia.add_added(recordings_for(args, (2,)), args.added_inertia, args.added_uncertainty)
    elif args.files or wants_live(args):
        what = args.files[0] if args.files else "--live"
        raise InputError(f"{what}: say what the recording is of: --falling-mass or --added-inertia")
    parts, bolts = _parts(args)
    if parts or bolts:
        inertia.add_parts(parts, bolts, args.length_uncertainty)
    result = inertia.result()
    if args.plot:
        _draw_inertia(inertia, result, args.plot)
    return result


def _draw_inertia(inertia: Inertia, result: Calibration, path: str) -> None:
    from brakebeat.calibrate.picture import draw_falls, draw_spins

    if inertia.spins:
        draw_spins(*inertia.spins, result, path)
    elif inertia.falls:
        draw_falls([(fall, given) for fall, given, _ in inertia.falls], result, path)
    else:
        raise InputError("--plot: dimensions are summed up, there is no fit to draw; leave it out")


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
        recordings_for(args, (1,))[0],
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

    recording = recordings_for(args, (1,))[0]
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


def _length(option: str, text: str) -> float:
    try:
        return positive(text)
    except (ValueError, argparse.ArgumentTypeError) as error:
        raise InputError(f"{option}: {text!r} is no number above 0 (m or kg)") from error
