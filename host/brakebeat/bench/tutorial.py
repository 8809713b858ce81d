"""How the README's accuracy table comes about, step by step: ``python -m brakebeat.bench.tutorial``.

Read it from top to bottom; each step prints what it did. One recording is taken through both engines and held
against the truth by hand, then two rows of the table are made from a few recordings as the whole table is made from
thousands. ``--whole`` makes the whole table, which takes a computer hours.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from brakebeat.bench import accuracy
from brakebeat.bench.accuracy_table.conditions import CONDITIONS
from brakebeat.bench.accuracy_table.judge import judge
from brakebeat.bench.accuracy_table.measure import ENGINES
from brakebeat.bench.accuracy_table.rows import ROWS
from brakebeat.bench.accuracy_table.show import markdown
from brakebeat.board import replay
from brakebeat.check.matching import match
from brakebeat.reference import analyse
from brakebeat.results import Rep

# Seeds that nothing was tuned on; the README's table of the board was made with these very words.
README_CALL = ("--engine", "firmware", "--seed-from", "4510000", "--markdown")
SEED_FROM = 4_510_000
KIND = "clean-6"
ROWS_SHOWN = ("peak-clean", "fraction-clean")


def main(argv: Sequence[str] | None = None) -> int:
    """All steps; 0, or what the whole table's own run returns."""
    parser = argparse.ArgumentParser(
        prog="python -m brakebeat.bench.tutorial", description=__doc__.partition(":")[0]
    )
    parser.add_argument("--reps", type=int, default=24, help="reps for each kind of recording in step 3 (24)")
    parser.add_argument("--jobs", type=int, default=1, help="processes (1)")
    parser.add_argument("--whole", metavar="FILE", help="the README's whole table into FILE instead; hours")
    args = parser.parse_args(argv)
    if args.whole:
        return accuracy.main([*README_CALL, args.whole, "--jobs", str(args.jobs)])
    one_recording()
    rows_of_the_table(args.reps, args.jobs)
    print(f"\nThe whole table: python -m brakebeat.bench.accuracy {' '.join(README_CALL)} FILE")
    return 0


def one_recording() -> None:
    """Steps 1 and 2: a set whose truth is known, and how far each engine is from it."""
    # A kind of recording is a sensor and a way of training; the seed draws the wheel, the athlete and each rep.
    condition = CONDITIONS[KIND]
    seed = condition.seeds(SEED_FROM, 1)[0]
    sensed = condition.sensed(seed)
    recording, truth = sensed.recording, sensed.truth
    print(f"1. {KIND}, seed {seed}: {len(recording.t_us)} edges of {len(truth['reps'])} reps, by physics.")
    print("   The engines get the edges only; the truth stays here.")

    # The board's own firmware, on the MicroPython VM where there is one; and the reference, by another method.
    found = {"firmware": replay(recording).reps, "reference": analyse(recording).reps}
    print("2. Peak speed of each rep, rad/s, and each engine's error:")
    print(f"   {'rep':>3} {'truth':>8} {'firmware':>9} {'reference':>10}")
    errors = {engine: peak_errors(reps, truth["reps"]) for engine, reps in found.items()}
    for place, rep in enumerate(truth["reps"]):
        told = [errors[engine].get(place) for engine in ENGINES]
        cells = ["missed" if error is None else f"{100 * error:+.3f} %" for error in told]
        print(f"   {place + 1:>3} {rep['peak_rad_s']:>8.2f} {cells[0]:>9} {cells[1]:>10}")
    worst = {engine: max(map(abs, errors[engine].values()), default=0.0) for engine in ENGINES}
    words = ", ".join(f"{engine} {100 * error:.3g} %" for engine, error in worst.items())
    print(f"   Worst of this set: {words}.")


def peak_errors(found: Sequence[Rep], true: Sequence[dict[str, float]]) -> dict[int, float]:
    """Relative error of the peak speed, by the true rep's place; reps are paired as ``check`` pairs them."""
    spans = [_Span(rep) for rep in true]
    return {j: found[i].peak_rad_s / true[j]["peak_rad_s"] - 1.0 for i, j in match(found, spans).pairs}


class _Span:
    """A rep of the truth, as pairing needs it."""

    def __init__(self, rep: dict[str, float]) -> None:
        self.start_us = int(rep["start_us"])
        self.end_us = int(rep["end_us"])


def rows_of_the_table(reps: int, jobs: int) -> None:
    """Step 3: the same over every kind of recording that a row is about; the table has the worst of them."""
    rows = [row for row in ROWS if row.key in ROWS_SHOWN]
    kinds = {name: CONDITIONS[name] for row in rows for name in row.conditions}
    print(
        f"3. The same over {', '.join(kinds)}, {reps} reps of each (fewer of some); the worst, with its limit."
    )
    print("   Of more reps the worst is worse: compare with the README's n before you compare figures.\n")
    results = accuracy.run_conditions(list(kinds.values()), reps, SEED_FROM, jobs)
    print(markdown(judge(rows, results, ENGINES), ENGINES), end="")


if __name__ == "__main__":
    sys.exit(main())
