"""``python -m tests.hard``: every hard case through both engines, as a table of what was found and what is wrong."""

import argparse
from concurrent.futures import ProcessPoolExecutor

from tests.hard.judge import CASES, ENGINES, SENSORS, Outcome, run


def main() -> int:
    """Print the table; exit code 1 where anything is wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.hard", description=__doc__)
    parser.add_argument("cases", nargs="*", metavar="CASE", help=f"of {', '.join(CASES)}; all unless given")
    parser.add_argument("--engines", nargs="+", choices=ENGINES, default=list(ENGINES))
    parser.add_argument("--sensors", nargs="+", choices=SENSORS, default=["6 magnets"])
    parser.add_argument("--seeds", nargs="+", type=int, default=[1, 2])
    args = parser.parse_args()
    unknown = set(args.cases) - set(CASES)
    if unknown:
        parser.error(f"no such case: {', '.join(sorted(unknown))}")
    jobs = [
        (case, sensor, seed, engine)
        for case in args.cases or CASES
        for sensor in args.sensors
        for seed in args.seeds
        for engine in args.engines
    ]
    print(f"{'case':26}{'sensor':12}{'seed':>4}  {'engine':10}{'reps':>6}{'true':>5}", end="")
    print(f"{'peak %':>8}{'time ms':>9}{'onset':>7}{'s':>6}  wrong")
    wrong = 0
    with ProcessPoolExecutor() as pool:
        for outcome in pool.map(run, *zip(*jobs, strict=True)):
            wrong += bool(outcome.wrong or outcome.wrong_brakes)
            print(_line(outcome), flush=True)
    print(f"{len(jobs)} runs, {wrong} with something wrong")
    return 1 if wrong else 0


def _line(outcome: Outcome) -> str:
    return (
        f"{outcome.case:26}{outcome.sensor:12}{outcome.seed:4}  {outcome.engine:10}{outcome.found:6}{outcome.true:5}"
        f"{100 * outcome.peak:8.3f}{outcome.time_ms:9.1f}{outcome.fraction:7.3f}{outcome.seconds:6.1f}  "
        f"{'; '.join(outcome.wrong + outcome.wrong_brakes)}"
    )


if __name__ == "__main__":
    raise SystemExit(main())
