"""``brakebeat vcd``: a logic analyser's Value Change Dump to a pulse recording, and back."""

from __future__ import annotations

import argparse
import json
import sys

from brakebeat.cli.actions import add_action, choices
from brakebeat.errors import InputError
from brakebeat.wording import counted


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """``channels``, ``read`` and ``write``."""
    ways = parser.add_subparsers(dest="way", required=True, metavar=choices(("channels", "read", "write")))
    channels = add_action(ways, "channels", "list a dump's one-bit channels")
    channels.add_argument("file", metavar="VCD", help="the dump")
    channels.add_argument("--json", action="store_true", help="print one JSON document and nothing else")
    read = add_action(ways, "read", "a dump's channel to a pulse recording")
    read.add_argument("file", metavar="VCD", help="the dump")
    read.add_argument("--out", required=True, metavar="CSV", help="the pulse recording to write")
    read.add_argument("--channel", required=True, metavar="NAME", help="the sensor's wire")
    read.add_argument(
        "--edge",
        choices=("falling", "rising", "both"),
        default="falling",
        help="which of its changes are edges (falling)",
    )
    read.add_argument("--sense-channel", metavar="NAME", help="a wire that is high while turning forwards")
    read.add_argument("--magnets", type=int, metavar="N", help="edges in one turn (else from --rig)")
    read.add_argument("--rig", metavar="RIG", help="rig file whose values go into the recording's header")
    write = add_action(ways, "write", "a pulse recording to a dump for any waveform viewer")
    write.add_argument("file", metavar="FILE", help="a pulse recording, or sample:NAME")
    write.add_argument("--out", required=True, metavar="VCD", help="the dump to write")
    write.add_argument("--channel", default="hall", metavar="NAME", help="what to call the wire (hall)")


def run(args: argparse.Namespace) -> int:
    """Convert; 0 on success."""
    if args.way == "channels":
        return _channels(args)
    return _read(args) if args.way == "read" else _write(args)


def _channels(args: argparse.Namespace) -> int:
    from brakebeat.interchange import list_channels

    found = list_channels(args.file)
    if args.json:
        print(json.dumps({"schema": 1, "channels": [channel.name for channel in found]}))
    else:
        print("\n".join(channel.name for channel in found))
    return 0


def _read(args: argparse.Namespace) -> int:
    from brakebeat.formats.recording import write_recording
    from brakebeat.interchange import read_vcd

    header = _header(args)
    t_us, step = read_vcd(args.file, args.channel, args.edge, sense_channel=args.sense_channel)
    write_recording(args.out, t_us, step, header)
    print(f"{args.out}: {counted(len(t_us), 'edge')} in {(t_us[-1] - t_us[0]) * 1e-6:.3f} s", file=sys.stderr)
    return 0


def _header(args: argparse.Namespace) -> dict[str, str]:
    from brakebeat.formats.rig import read_rig

    if args.rig is None and args.magnets is None:
        raise InputError(
            "--magnets N is missing (or --rig RIG): a recording has to say how many edges make a turn"
        )
    header = {} if args.rig is None else _rig_header(read_rig(args.rig))
    if args.magnets is not None:
        header["pulses_per_rev"] = str(args.magnets)
    return header


def _rig_header(rig: object) -> dict[str, str]:
    from brakebeat.formats.rig import Rig

    assert isinstance(rig, Rig)
    # Of a rig file, what a recording's figures depend on; the table and the zero belong to another session.
    left_out = {"name", "zero_index", "magnet_offsets_rad", "ticks_wrap", "brake_preset", "cues", "board"}
    values = rig.model_dump(exclude=left_out, exclude_none=True)
    return {key: repr(value) for key, value in values.items()}


def _write(args: argparse.Namespace) -> int:
    from brakebeat.formats.recording import read_recording
    from brakebeat.interchange import write_vcd
    from brakebeat.samples import resolve

    recording = read_recording(resolve(args.file))
    write_vcd(args.out, recording, args.channel)
    print(f"{args.out}: {counted(len(recording.t_us), 'edge')}", file=sys.stderr)
    return 0
