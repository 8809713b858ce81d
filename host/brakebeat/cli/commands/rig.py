"""``brakebeat rig``: make a rig file by questions or options, show what one gives, draw a template for its magnets."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from brakebeat.cli.actions import add_action, choices
from brakebeat.errors import InputError

_TITLE = "Made by `brakebeat rig new`; change what you like, `brakebeat rig show` tells what it gives."
_CAUTION = (
    "Caution: wire with the power off and the wheel at rest, strap off; keep mains out of it. Fix magnets "
    "mechanically, not by glue alone: one that comes loose at speed is a projectile."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """``new``, ``show`` and ``template``."""
    from brakebeat.rigs.questions import QUESTIONS

    ways = parser.add_subparsers(dest="way", required=True, metavar=choices(("new", "show", "template")))
    new = add_action(ways, "new", "ask, and write a commented rig file")
    new.add_argument("file", metavar="RIG", nargs="?", default="rig.toml", help="where to (rig.toml)")
    new.add_argument(
        "--yes", action="store_true", help="ask nothing: what no option says stays at its default"
    )
    new.add_argument("--replace", action="store_true", help="replace an existing file; the old one is kept")
    for question in QUESTIONS:
        new.add_argument(
            question.option, dest=question.key, metavar="X", help=question.text.replace("%", "%%")
        )
    show = add_action(ways, "show", "what a rig file gives: steps of the speed, errors to be expected")
    show.add_argument("file", metavar="RIG", nargs="?", default="rig.toml", help="the rig file (rig.toml)")
    show.add_argument("--json", action="store_true", help="print one JSON document and nothing else")
    _add_template(ways)


def _add_template(ways: Any) -> None:
    from brakebeat.cli.numbers import positive

    drawn = add_action(ways, "template", "a magnet ring to print to scale (SVG); lengths in mm here")
    drawn.add_argument("--shaft", type=positive, required=True, metavar="MM", help="the shaft's diameter")
    drawn.add_argument("--magnets", type=int, required=True, metavar="N", help="how many, 1 to 24")
    drawn.add_argument("--magnet", type=positive, default=8.0, metavar="MM", help="their diameter (8)")
    drawn.add_argument(
        "--circle", type=positive, metavar="MM", help="diameter through their centres (the least that fits)"
    )
    drawn.add_argument("--out", required=True, metavar="SVG", help="where to")


def run(args: argparse.Namespace) -> int:
    """Make, show or draw; 0 on success."""
    return {"new": _new, "show": _show, "template": _template}[args.way](args)


def _template(args: argparse.Namespace) -> int:
    from brakebeat.drawings.ring import ring_for, template
    from brakebeat.formats.atomic import atomic_write

    print(_CAUTION, file=sys.stderr)
    ring = ring_for(args.shaft, args.magnets, args.magnet, args.circle)
    with atomic_write(args.out) as stream:
        stream.write(template(ring).encode())
    print(f"{args.out}: written. Print it at 100 %, and measure its ruler before you cut.", file=sys.stderr)
    return 0


def _new(args: argparse.Namespace) -> int:
    from brakebeat.formats.atomic import check_place
    from brakebeat.formats.rig import write_rig
    from brakebeat.rigs.pins import notes
    from brakebeat.rigs.questions import BOARD, rig_of

    path = Path(args.file)
    if path.exists() and not args.replace:
        raise InputError(f"{path}: is there already; give another name, or --replace (the old one is kept)")
    check_place(path)
    print(_CAUTION, file=sys.stderr)
    answers = _answers(args)
    rig = rig_of(answers)
    if path.exists():
        kept = _keep(path)
        print(f"{kept}: the old file", file=sys.stderr)
    write_rig(path, rig, notes(answers[BOARD]), title=_TITLE)
    if not rig.cues.late_cue:
        print("The late cue is off (--late-cue yes turns it on).", file=sys.stderr)
    print(f"{path}: written. Next: brakebeat rig show {path}", file=sys.stderr)
    return 0


def _answers(args: argparse.Namespace) -> dict[str, Any]:
    from brakebeat.rigs.questions import QUESTIONS, answer, wanted

    given = vars(args)
    asks = not args.yes and sys.stdin.isatty()
    answers: dict[str, Any] = {}
    for question in QUESTIONS:
        text = given[question.key]
        if text is None and not wanted(question, answers):
            continue
        if text is None and question.needed and not asks:
            raise InputError(f"{question.option} is missing: {question.text}")
        if text is None and asks:
            answers[question.key] = _asked(question, answers)
        else:
            answers[question.key] = answer(question, text or "", answers)
    return answers


def _asked(question: Any, answers: dict[str, Any]) -> Any:
    from brakebeat.rigs.questions import answer, asked

    while True:
        print(f"{asked(question, answers)} ", end="", file=sys.stderr, flush=True)
        line = sys.stdin.readline()
        if not line:
            raise InputError(f"{question.option}: no answer; nothing was written")
        try:
            return answer(question, line, answers)
        except InputError as error:
            print(str(error).removeprefix(f"{question.option}: "), file=sys.stderr)


def _keep(path: Path) -> Path:
    number = 1
    while (kept := path.with_name(f"{path.name}.old-{number}")).exists():
        number += 1
    try:
        kept.write_bytes(path.read_bytes())
    except OSError as error:
        raise InputError(f"{kept}: the old file cannot be kept there ({error.strerror})") from error
    return kept


def _show(args: argparse.Namespace) -> int:
    from brakebeat.formats.rig import read_rig
    from brakebeat.rigs.show import document, words

    rig = read_rig(args.file)
    if args.json:
        print(json.dumps(document(rig), allow_nan=False))
    else:
        print(words(rig))
    return 0
