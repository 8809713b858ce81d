"""``brakebeat watch``: find a board over Bluetooth LE and print each rep as it comes."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import dataclasses
import json
import math
import sys
from collections.abc import AsyncIterator
from typing import Any

from brakebeat.errors import InputError

CAUTION = "Keep clear of wheel and strap while they move."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--name", help="the board's advertised name (default: the first board found)")
    which.add_argument("--address", help="the board's address, as your system shows it")
    parser.add_argument("--seconds", type=_positive, metavar="N", help="stop after N seconds")
    parser.add_argument("--reps", type=_count, metavar="N", help="stop after N reps")
    parser.add_argument(
        "--scan",
        type=_positive,
        default=10.0,
        metavar="S",
        help="look for a board this long, in seconds (10)",
    )
    parser.add_argument(
        "--json-lines", action="store_true", help="a JSON object for each event instead of lines for people"
    )
    parser.add_argument(
        "--virtual",
        metavar="FILE",
        help="no hardware: the firmware plays this recording (or sample:NAME) over a virtual radio",
    )
    parser.add_argument(
        "--speed", type=_positive, default=1.0, metavar="X", help="with --virtual: X times as fast (1)"
    )
    parser.add_argument(
        "--engine", choices=("auto", "micropython", "cpython"), default="auto", help=argparse.SUPPRESS
    )


def run(args: argparse.Namespace) -> int:
    """Watch until told to stop; 0. Troubles with Bluetooth are DeviceErrors."""
    if args.virtual is None and args.speed != 1.0:
        raise InputError("--speed: only with --virtual; a real wheel turns as fast as it is pulled")
    return asyncio.run(_watch(args))


async def _watch(args: argparse.Namespace) -> int:
    from brakebeat.link import Wanted, follow

    show = _show_json if args.json_lines else _show_line
    if not args.json_lines:
        print(f"looking for a board. {CAUTION}", flush=True)
    async with contextlib.AsyncExitStack() as stack:
        ended = await stack.enter_async_context(_virtual(args)) if args.virtual else None
        events = await stack.enter_async_context(
            contextlib.aclosing(follow(Wanted(args.name, args.address), scan_s=args.scan))
        )
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(args.seconds):
                await _show_all(events, show, args.reps, ended)
    return 0


async def _show_all(events: AsyncIterator[Any], show: Any, most_reps: int | None, ended: Any) -> None:
    """Show events until enough reps came, or, with a recording, until ``ended(reps)`` says so."""
    reps = 0
    async for event in events:
        show(event)
        reps += type(event).__name__ == "RepArrived"
        if most_reps is not None and reps >= most_reps:
            return
        if ended is not None and ended(reps):
            return


@contextlib.asynccontextmanager
async def _virtual(args: argparse.Namespace) -> AsyncIterator[Any]:
    from brakebeat.samples import resolve
    from brakebeat.virtual import virtual_rig

    async with virtual_rig(resolve(args.virtual), speed=args.speed, engine=args.engine) as rig:
        if rig.engine == "cpython" and args.engine == "auto":
            print("no MicroPython VM is installed here: the firmware runs on CPython", file=sys.stderr)
        yield lambda reps: rig.board.reps_played is not None and reps >= rig.board.reps_played


def _show_line(event: Any) -> None:
    from brakebeat.link import words
    from brakebeat.link.events import Connected, CueHeard, LinkLost, RepArrived, Waiting

    lines: list[str] = []
    if isinstance(event, Connected):
        lines = [f"connected to {event.name} ({event.address})", *words.status_lines(event.status)]
    elif isinstance(event, RepArrived):
        lines = [words.rep_line(event.rep, event.cues)]
    elif isinstance(event, CueHeard):
        lines = [words.cue_line(event.kind, event.rep)]
    elif isinstance(event, LinkLost):
        lines = [f"link lost: {event.reason}"]
    elif isinstance(event, Waiting):
        lines = [f"trying again in {event.pause_s:g} s ({event.attempt} of {event.attempts})"]
    for line in lines:
        print(line, flush=True)


def _show_json(event: Any) -> None:
    from brakebeat.link.events import LiveArrived, RepArrived
    from brakebeat.results import finite

    if isinstance(event, LiveArrived):
        return
    if isinstance(event, RepArrived):
        document = {"rep": event.rep.to_document(), "cues": [dataclasses.asdict(cue) for cue in event.cues]}
    else:
        document = dataclasses.asdict(event)
    print(json.dumps({"event": type(event).__name__, **finite(document)}), flush=True)


def _positive(text: str) -> float:
    value = float(text)
    if not (math.isfinite(value) and value > 0):
        raise argparse.ArgumentTypeError(f"{text!r}: a number above 0 is needed")
    return value


def _count(text: str) -> int:
    value = int(text)
    if value < 1:
        raise argparse.ArgumentTypeError(f"{text!r}: a whole number above 0 is needed")
    return value
