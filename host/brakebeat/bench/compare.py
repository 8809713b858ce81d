"""``python -m brakebeat.bench.compare``: peak speeds by every method against the Cramér–Rao bound."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence

from rich.table import Table

from brakebeat.bench.accuracy_table.conditions import CONDITIONS, SEED_FROM
from brakebeat.bench.accuracy_table.show import console
from brakebeat.bench.peak_methods.peaks import METHODS, ConditionScore, MethodScore, score, set_peaks
from brakebeat.bench.run import run_all, warn
from brakebeat.errors import BrakebeatError, InputError
from brakebeat.pools import usable_cores

KINDS = (
    "clean-1",
    "clean-2",
    "clean-4",
    "clean-6",
    "clean-12",
    "clean-24",
    "quadrature-96",
    "quadrature-2400",
    "placed-6",
    "jitter-6",
    "dirty-6",
    "dirty-24",
)
METHOD_TITLES = {
    "interval": "plain interval",
    "revolution": "per revolution",
    "firmware": "firmware",
    "reference": "reference",
}
EXPLANATION = (
    "Errors of the peak speed of a rep, relative, root mean square over the reps; in brackets how many\n"
    "times the bound. The bound is Cramér and Rao's for unbiased estimates from time stamps with the known\n"
    "jitter (and whole microseconds), on the edges of the one turn about the peak:\n"
    "σ_ω/ω = ω·σ·√(12/(Δ²·N(N²−1))), N = edges/rev + 1, Δ = their spacing.\n"
    "It takes the magnets' places and the bend of the speed over that turn as known: errors from placement\n"
    "and bend come on top of it. A method that looks beyond that turn, or is biased, may come below it.\n"
    "The plain methods are told where each rep is and, with magnets, given a dead time of 1 ms."
)


def main(argv: Sequence[str] | None = None) -> int:
    """Measure, print, draw."""
    parser = argparse.ArgumentParser(prog="python -m brakebeat.bench.compare", description=EXPLANATION)
    parser.add_argument("--out", metavar="FILE.png", help="draw the comparison")
    parser.add_argument("--json", metavar="FILE", help="write the scores as one JSON document, - for stdout")
    parser.add_argument("--reps", type=int, default=120, metavar="N", help="reps for each kind (120)")
    parser.add_argument("--seed-from", type=int, default=SEED_FROM, metavar="S", help=f"({SEED_FROM})")
    parser.add_argument("--jobs", type=int, default=usable_cores(), metavar="J", help="processes (all cores)")
    args = parser.parse_args(argv)
    try:
        return _run(args)
    except BrakebeatError as error:
        warn(f"brakebeat.bench.compare: {error}")
        return error.exit_code


def _run(args: argparse.Namespace) -> int:
    if args.reps < 1 or args.jobs < 1 or args.seed_from < 0:
        raise InputError("--reps and --jobs must be at least 1, --seed-from at least 0")
    scores = compare(args.reps, args.seed_from, args.jobs)
    if args.json:
        text = json.dumps({"schema": 1, "kinds": [s.to_document() for s in scores]}, indent=1) + "\n"
        _write(args.json, text)
    if args.json != "-":
        print_scores(scores)
    if args.out:
        from brakebeat.bench.peak_methods.picture import draw

        draw(scores, args.out)
    return 0


def compare(
    reps: int, seed_from: int = SEED_FROM, jobs: int = 1, kinds: Sequence[str] = KINDS
) -> list[ConditionScore]:
    """All methods on ``reps`` reps of every kind of recording."""
    tasks = []
    for name in kinds:
        condition = CONDITIONS[name]
        # Every kind gets as many reps here, however many the accuracy table needs of it.
        sets = -(-reps // (condition.reps - condition.leave_out))
        tasks += [(name, seed) for seed in condition.seeds(seed_from, sets)]
    return score(run_all(set_peaks, tasks, jobs, "sets"))


def print_scores(scores: Sequence[ConditionScore]) -> None:
    """The comparison as one table."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("recordings")
    for heading in ("reps", "bound, %", *(f"{METHOD_TITLES[method]}, %" for method in METHODS)):
        table.add_column(heading, justify="right", no_wrap=True)
    for one in scores:
        cells = [_cell(one.methods[method]) for method in METHODS]
        table.add_row(one.condition, str(one.n), f"{one.bound * 100:.2g}", *cells)
    out = console()
    out.print(table)
    out.print(EXPLANATION, highlight=False, markup=False)


def _cell(method: MethodScore) -> str:
    if method.rms is None or method.times_bound is None:
        return "–"
    lost = f", {method.without_peak} none" if method.without_peak else ""
    return f"{method.rms * 100:.3g} ({method.times_bound:.3g}×{lost})"


def _write(path: str, text: str) -> None:
    from brakebeat.formats.atomic import atomic_write

    if path == "-":
        sys.stdout.write(text)
        return
    with atomic_write(path) as stream:
        stream.write(text.encode())


if __name__ == "__main__":
    sys.exit(main())
