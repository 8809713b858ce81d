"""``python -m brakebeat.bench.accuracy``: both engines against the truth, worst cases against limits."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from functools import partial

from brakebeat.bench.accuracy_table.conditions import CONDITIONS, SEED_FROM, Condition
from brakebeat.bench.accuracy_table.judge import Line, judge
from brakebeat.bench.accuracy_table.measure import ENGINES, EngineName, SetResult, run_set
from brakebeat.bench.accuracy_table.rows import ROWS, Row
from brakebeat.bench.accuracy_table.show import markdown, print_lines
from brakebeat.bench.provenance import fingerprints
from brakebeat.bench.run import run_all, warn
from brakebeat.errors import BrakebeatError, InputError
from brakebeat.formats.atomic import atomic_write
from brakebeat.pools import usable_cores
from brakebeat.results import finite

FULL_REPS = 500


def main(argv: Sequence[str] | None = None) -> int:
    """Measure, print, and return 1 where a limit is broken."""
    args = _parser().parse_args(argv)
    try:
        return _run(args)
    except BrakebeatError as error:
        warn(f"brakebeat.bench.accuracy: {error}")
        return error.exit_code


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m brakebeat.bench.accuracy", description=__doc__.split(": ", 1)[1]
    )
    parser.add_argument(
        "--reps", type=int, default=FULL_REPS, metavar="N", help="reps for each kind of recording (500)"
    )
    parser.add_argument(
        "--seed-from", type=int, default=SEED_FROM, metavar="S", help=f"first seed ({SEED_FROM})"
    )
    parser.add_argument("--jobs", type=int, default=usable_cores(), metavar="J", help="processes (all cores)")
    parser.add_argument("--json", metavar="FILE", help="write everything as one JSON document, - for stdout")
    parser.add_argument(
        "--only",
        nargs="+",
        default=[],
        metavar="ROW",
        help="rows or kinds of recording by name (--list shows them)",
    )
    parser.add_argument("--engine", choices=[*ENGINES, "both"], default="both")
    parser.add_argument(
        "--single",
        action="store_true",
        help="the firmware with floats of single precision, as most boards have them (takes longer)",
    )
    parser.add_argument("--markdown", metavar="FILE", help="write the brief table as Markdown")
    parser.add_argument("--brief", action="store_true", help="of each row only the worst kind of recording")
    parser.add_argument(
        "--list", action="store_true", help="list rows and kinds of recording, measure nothing"
    )
    parser.add_argument(
        "--write",
        nargs=3,
        metavar=("KIND", "SEED", "FILE"),
        help="write one recording and FILE.truth.json instead",
    )
    return parser


def _run(args: argparse.Namespace) -> int:
    if args.list:
        return _list()
    if args.write:
        return _write(*args.write)
    if args.reps < 1 or args.jobs < 1 or args.seed_from < 0:
        raise InputError("--reps and --jobs must be at least 1, --seed-from at least 0")
    rows, conditions = _chosen(args.only)
    engines: tuple[EngineName, ...] = ENGINES if args.engine == "both" else (args.engine,)
    before = fingerprints()
    results = run_conditions(conditions, args.reps, args.seed_from, args.jobs, engines, single=args.single)
    lines = judge(rows, results, engines)
    mixed = before != fingerprints()
    quiet = args.json == "-"
    if not quiet:
        print_lines(lines, engines, args.brief)
        _print_summary(lines, results, before, mixed)
    elif mixed:
        warn("the code changed while this ran: the figures are mixed")
    if args.markdown:
        with atomic_write(args.markdown) as stream:
            stream.write(markdown(lines, engines).encode())
    if args.json:
        _write_json(args, lines, results, before)
    return 1 if any(line.failed for line in lines) or any(r.crashes for r in results) else 0


def run_conditions(
    conditions: Sequence[Condition],
    reps: int,
    seed_from: int = SEED_FROM,
    jobs: int = 1,
    engines: tuple[EngineName, ...] = ENGINES,
    *,
    single: bool = False,
) -> list[SetResult]:
    """Every set of every condition; single: the firmware with floats of single precision."""
    tasks = [
        (condition.name, seed)
        for condition in conditions
        for seed in condition.seeds(seed_from, condition.sets(reps))
    ]
    return run_all(partial(_work, engines=engines, single=single), tasks, jobs, "sets")


def _work(task: tuple[str, int], engines: tuple[EngineName, ...], single: bool) -> SetResult:
    name, seed = task
    return run_set(CONDITIONS[name], seed, engines, single=single)


def _chosen(only: Sequence[str]) -> tuple[list[Row], list[Condition]]:
    """The rows and conditions that the names choose: a row brings its conditions, a condition its rows."""
    keys = {row.key for row in ROWS}
    unknown = [name for name in only if name not in keys and name not in CONDITIONS]
    if unknown:
        raise InputError(f"--only {unknown[0]}: no such row or kind of recording; --list shows them")
    chosen_rows = [row for row in ROWS if row.key in only]
    chosen = {name for name in only if name in CONDITIONS}
    if not chosen_rows:
        chosen_rows = [row for row in ROWS if not chosen or chosen & set(row.conditions)]
    if not chosen:
        chosen = {name for row in chosen_rows for name in row.conditions}
    return chosen_rows, [condition for name, condition in CONDITIONS.items() if name in chosen]


def _print_summary(
    lines: Sequence[Line], results: Sequence[SetResult], code: dict[str, str], mixed: bool
) -> None:
    for result in results:
        for engine, reason in result.crashes.items():
            print(f"{engine} broke down on {result.condition}, seed {result.seed}: {reason}")
    print(
        "n: samples, of the engine that has more. turns only: what would be left if every turnaround up to then\n"
        "were known exactly and φ = 0 were taken from them alone; late cues: if they also sounded at once."
    )
    failed = sum(line.failed for line in lines)
    names = ", ".join(f"{name} {digest}" for name, digest in code.items())
    print(f"{len(lines)} lines, {failed} with a broken limit; {len(results)} sets; code: {names}")
    if mixed:
        print("The code changed while this ran: the figures are mixed.")


def _write_json(
    args: argparse.Namespace, lines: Sequence[Line], results: Sequence[SetResult], code: dict[str, str]
) -> None:
    document = finite(
        {
            "schema": 1,
            "reps": args.reps,
            "seed_from": args.seed_from,
            "single_precision": args.single,
            "code": code,
            "lines": [line.to_document() for line in lines],
            "crashes": [
                {"condition": r.condition, "seed": r.seed, "engine": engine, "reason": reason}
                for r in results
                for engine, reason in r.crashes.items()
            ],
        }
    )
    text = json.dumps(document, indent=1) + "\n"
    if args.json == "-":
        sys.stdout.write(text)
        return
    with atomic_write(args.json) as stream:
        stream.write(text.encode())


def _list() -> int:
    print("kinds of recording:")
    for condition in CONDITIONS.values():
        what = f"{condition.sensor.pulses} edges/rev ({condition.sensor.kind})"
        print(f"  {condition.name:22} {what}, {condition.sets(FULL_REPS)} sets")
    print("rows:")
    for row in ROWS:
        print(f"  {row.key:22} {row.title}; {row.on}")
    return 0


def _write(kind: str, seed: str, path: str) -> int:
    """A recording of the benchmark as files, to look into a worst case."""
    from brakebeat.formats.recording import write_recording

    if kind not in CONDITIONS:
        raise InputError(f"--write {kind}: no such kind of recording; --list shows them")
    if not seed.isdigit():
        raise InputError(f"--write {kind} {seed}: the seed must be a whole number")
    sensed = CONDITIONS[kind].sensed(int(seed))
    write_recording(path, sensed.recording.t_us, sensed.recording.step, sensed.recording.header)
    with atomic_write(f"{path}.truth.json") as stream:
        stream.write((json.dumps(sensed.truth, indent=1) + "\n").encode())
    return 0


if __name__ == "__main__":
    sys.exit(main())
