"""``brakebeat demo``: the whole chain on a simulated rig, from pulses to a picture; or ten weeks of training."""

from __future__ import annotations

import argparse
import json
import sys
import time
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from brakebeat.cli.numbers import read
from brakebeat.errors import InputError

if TYPE_CHECKING:
    from brakebeat.demo.block.folder import BlockFolder

DEFAULT_FOLDER = Path("brakebeat-demo")
DEFAULT_BLOCK_FOLDER = Path("brakebeat-block")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what ``demo`` takes."""
    parser.add_argument(
        "--out",
        type=Path,
        metavar="DIR",
        help=f"directory for the files (default: {DEFAULT_FOLDER}, with --block {DEFAULT_BLOCK_FOLDER})",
    )
    parser.add_argument("--speed", type=_speed, metavar="X", help="play the set X times as fast as life (1)")
    parser.add_argument(
        "--block",
        action="store_true",
        help="ten weeks of two invented athletes instead: a filled store, their reports and calendars",
    )
    parser.add_argument("--seed", type=_seed, metavar="N", help="with --block: another course of things (1)")
    parser.add_argument(
        "--open",
        action="store_true",
        help="with --block: show the reports in your browser, then one more set live on the page (Ctrl-C ends it)",
    )
    parser.add_argument(
        "--json", action="store_true", help="print one JSON document; the words go to standard error"
    )
    parser.add_argument(
        "--engine",
        choices=("auto", "micropython", "cpython"),
        default="auto",
        help="what runs the firmware (default: MicroPython where it is installed)",
    )


def run(args: argparse.Namespace) -> int:
    """Run the demo: 0 where firmware and reference agree, 1 where not."""
    if args.block:
        return _block(args)
    if args.seed is not None or args.open:
        raise InputError(f"{'--open' if args.open else '--seed'}: only with --block")
    from brakebeat.check.show import console_for, show_agreement
    from brakebeat.demo.run import run_demo

    began_s = time.monotonic()
    stream = sys.stderr if args.json else sys.stdout
    console = console_for(stream)
    say = partial(print, file=stream, flush=True)
    outcome = run_demo(args.out or DEFAULT_FOLDER, args.speed or 1.0, args.engine, say)
    say("\nThe host's independent reference has worked the same pulses out, its own way:")
    show_agreement(outcome.report, console)
    say(f"picture: {outcome.folder.picture}")
    say(f"done in {time.monotonic() - began_s:.0f} s; next: brakebeat check {outcome.folder.recording}")
    if args.json:
        print(json.dumps(outcome.to_document(), allow_nan=False, indent=1))
    return 0 if outcome.report.verdict == "pass" else 1


def _block(args: argparse.Namespace) -> int:
    """Ten weeks into a store."""
    from brakebeat.demo.block.people import EXERCISE, PEOPLE
    from brakebeat.demo.block.run import page_command, run_block

    if args.open and args.json:
        raise InputError("--open: not with --json, whose one document would not be the end of it")
    if args.speed is not None:
        raise InputError("--speed: not with --block, which does not wait for the wheel")
    began_s = time.monotonic()
    say = partial(print, file=sys.stderr if args.json else sys.stdout, flush=True)
    seed = 1 if args.seed is None else args.seed
    outcome = run_block(args.out or DEFAULT_BLOCK_FOLDER, seed=seed, engine=args.engine, say=say)
    filled, folder = outcome.filled, outcome.folder
    if args.json:
        print(json.dumps(outcome.to_document(), indent=1))
    say(
        f"{filled.sessions} sessions, {filled.sets} sets, {filled.reps} reps from {filled.edges} edges, "
        f"done in {time.monotonic() - began_s:.0f} s\n"
    )
    for person in PEOPLE:
        name = person.name
        say(f"{name}'s report: {folder.report(name)}   calendar: {folder.calendar(name)}")
    say(f"all of it:  brakebeat log --store {folder.store}")
    say(f'inertia:    brakebeat profile {PEOPLE[0].name} "{EXERCISE}" --store {folder.store}')
    say(f"live page:  {page_command(folder)}")
    return _show(folder) if args.open else 0


def _show(folder: BlockFolder) -> int:
    """Open the reports, and the page with one more set."""
    import webbrowser

    from brakebeat.cli import main
    from brakebeat.demo.block.people import EXERCISE, PEOPLE

    for person in PEOPLE:
        webbrowser.open(folder.report(person.name).resolve().as_uri())
    call = ["serve", "--store", str(folder.store), "--athlete", PEOPLE[0].name, "--exercise", EXERCISE]
    return main([*call, "--virtual", str(folder.next_set), "--page-port", "0", "--open", "--stay"])


def _speed(text: str) -> float:
    return read(float, text, lambda value: 0.1 <= value <= 100, "a speed from 0.1 to 100 is needed")


def _seed(text: str) -> int:
    return read(int, text, lambda value: 0 <= value < 1_000_000, "a whole number from 0 to 999999 is needed")
