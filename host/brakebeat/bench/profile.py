"""Whether a profile's interval holds an athlete's true optimum: ``python -m brakebeat.bench.profile``.

Each seed is another simulated athlete with a set at each of five inertias. The profile gives an interval for the
inertia of greatest mean concentric power, at 95 % confidence; the truth is the rested, steady athlete's. Exit code 1
where fewer than 95 % of the intervals hold it.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import sys
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from statistics import median

from brakebeat.bench.athletes import INERTIAS, athlete, set_point, true_optimum_kg_m2, working_reps
from brakebeat.training.lines import CONFIDENCE
from brakebeat.training.profile import make_profile


@dataclass(frozen=True)
class Verdict:
    """One athlete's interval, in kg·m²; an end that the data leave open is None."""

    seed: int
    truth: float
    low: float | None
    high: float | None

    @property
    def covered(self) -> bool:
        """Whether the truth lies inside."""
        return (self.low is None or self.low <= self.truth) and (self.high is None or self.truth <= self.high)


def verdict(seed: int) -> Verdict:
    """Train one athlete at each inertia and profile them."""
    who = athlete(seed)
    sets = [working_reps(who, inertia, 1000 * seed + place) for place, inertia in enumerate(INERTIAS)]
    points = [
        set_point(reps, inertia, place)
        for place, (reps, inertia) in enumerate(zip(sets, INERTIAS, strict=True))
    ]
    found = make_profile(points).optimum
    assert found is not None
    return Verdict(seed, true_optimum_kg_m2(who), found.low, found.high)


def summary(verdicts: Iterable[Verdict]) -> dict[str, float | int | list[int] | None]:
    """Counts, and how wide the closed intervals are (upper ÷ lower end, the median)."""
    all_of_them = list(verdicts)
    ratios = [one.high / one.low for one in all_of_them if one.low and one.high]
    return {
        "athletes": len(all_of_them),
        "covered": sum(one.covered for one in all_of_them),
        "open": len(all_of_them) - len(ratios),
        "median_width_ratio": median(ratios) if ratios else None,
        "missed_seeds": [one.seed for one in all_of_them if not one.covered],
    }


def main() -> int:
    """Run the seeds, print the counts."""
    parser = argparse.ArgumentParser(prog="python -m brakebeat.bench.profile", description=__doc__)
    parser.add_argument("--athletes", type=int, default=200, help="how many (200)")
    parser.add_argument("--seed-from", type=int, default=0, help="the first one's seed (0)")
    parser.add_argument("--json", action="store_true", help="print one JSON document and nothing else")
    args = parser.parse_args()
    seeds = range(args.seed_from, args.seed_from + args.athletes)
    with ProcessPoolExecutor(os.cpu_count(), multiprocessing.get_context("spawn")) as pool:
        found = summary(pool.map(verdict, seeds, chunksize=4))
    if args.json:
        print(json.dumps({"schema": 1, **found}))
    else:
        width = found["median_width_ratio"]
        print(
            f"{found['covered']} of {found['athletes']} intervals hold the true inertia of greatest mean power"
        )
        print(
            f"{found['open']} are open on a side; the closed ones' upper end is {width or float('nan'):.2f} times "
            f"the lower (median); missed: {found['missed_seeds'] or 'none'}"
        )
    assert isinstance(found["covered"], int)
    return 0 if found["covered"] >= CONFIDENCE * args.athletes else 1


if __name__ == "__main__":
    sys.exit(main())
