"""How well each calibration recovers a simulated rig's truth, and whether its stated uncertainty is honest.

``python -m brakebeat.bench.calibrations --seeds 200`` prints for each case how many of the stated values lie within
two of their standard uncertainties of the truth, how often every value of a run does, the worst error, and the
share of runs within the limit that the case is held to.
"""

from __future__ import annotations

import argparse
import math
import sys
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.bench.calibration_cases import CASES, Case, Outcome
from brakebeat.errors import InputError

Array = NDArray[np.float64]

# Twice a standard uncertainty should cover 95 % of errors.
COVERED = 0.95
FACTOR = 2.0


@dataclass(frozen=True)
class Row:
    """One case over its seeds. Errors are in the case's unit; ``failed`` runs gave no figure at all."""

    case: Case
    runs: int
    failed: tuple[int, ...]
    values_covered: float
    runs_covered: float
    median: float
    worst: float
    worst_seed: int
    within: float

    @property
    def good(self) -> bool:
        """Whether the case holds what it is held to."""
        return not self.failed and self.values_covered >= COVERED and self.within >= COVERED


def measure(case: Case, seeds: range) -> Row:
    """Run one case over ``seeds``; what a user could mend (too few edges, say) counts as failed."""
    outcomes: list[tuple[int, Outcome]] = []
    failed = []
    for seed in seeds:
        try:
            outcomes.append((seed, case.run(seed)))
        except InputError as error:
            failed.append(seed)
            print(f"{case.name} seed {seed}: {error}", file=sys.stderr)
    if not outcomes:
        return Row(case, len(seeds), tuple(failed), 0.0, 0.0, math.nan, math.nan, seeds.start, 0.0)
    covered = [np.abs(outcome.error) <= FACTOR * outcome.sigma for _, outcome in outcomes]
    judged = np.array([outcome.judged for _, outcome in outcomes])
    at = int(np.argmax(judged))
    return Row(
        case,
        len(seeds),
        tuple(failed),
        float(np.mean(np.concatenate(covered))),
        float(np.mean([part.all() for part in covered])),
        float(np.median(judged)),
        float(judged[at]),
        outcomes[at][0],
        float((judged <= case.limit).sum()) / len(seeds),
    )


def markdown(rows: list[Row]) -> str:
    """The rows as a table for the README."""
    lines = [
        "| calibration | on | values within 2 u | median error | worst | limit | runs within it |",
        "| --- | --- | --: | --: | --: | --: | --: |",
    ]
    for row in rows:
        case = row.case
        figures = [f"{value:.2g} {case.unit}" for value in (row.median, row.worst, case.limit)]
        cells = [
            case.kind,
            case.on,
            _share(row.values_covered, COVERED),
            *figures,
            _share(row.within, COVERED),
        ]
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"


def _share(value: float, least: float) -> str:
    text = f"{100.0 * value:.1f} %"
    return text if value >= least else f"**{text}**"


def words(row: Row) -> str:
    """One line for the screen."""
    case = row.case
    return (
        f"{case.name:22} values within 2 u {100 * row.values_covered:5.1f} %, all of a run's "
        f"{100 * row.runs_covered:5.1f} %; error median {row.median:.3g}, worst {row.worst:.3g} {case.unit} "
        f"(seed {row.worst_seed}); within {case.limit:g} {case.unit}: {100 * row.within:.1f} %"
        + (f"; {len(row.failed)} gave nothing" if row.failed else "")
        + ("" if row.good else "   <-- not held")
    )


def main(arguments: list[str] | None = None) -> int:
    """0 where every case holds, 1 where one does not."""
    parser = argparse.ArgumentParser(prog="python -m brakebeat.bench.calibrations", description=__doc__)
    parser.add_argument("--seeds", type=int, default=200, metavar="N", help="runs of each case (default 200)")
    parser.add_argument(
        "--seed-from", type=int, default=1_400_000, metavar="SEED", help="the first seed (default 1400000)"
    )
    parser.add_argument("--only", nargs="+", metavar="CASE", help="these cases or kinds only")
    parser.add_argument("--list", action="store_true", help="name the cases and stop")
    parser.add_argument("--markdown", metavar="FILE", help="write the table there, too")
    args = parser.parse_args(arguments)
    chosen = [case for case in CASES if not args.only or {case.name, case.kind} & set(args.only)]
    if args.list or not chosen:
        print("\n".join(case.name for case in CASES))
        return 0 if args.list else 2
    rows = []
    for case in chosen:
        rows.append(measure(case, range(args.seed_from, args.seed_from + args.seeds)))
        print(words(rows[-1]), flush=True)
    if args.markdown:
        from brakebeat.formats.atomic import atomic_write

        with atomic_write(args.markdown) as stream:
            stream.write(markdown(rows).encode())
    return 0 if all(row.good for row in rows) else 1


if __name__ == "__main__":
    raise SystemExit(main())
