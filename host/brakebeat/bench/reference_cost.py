"""What the reference costs a computer: edges a second and the peak of memory, by the length of the recording.

``python -m brakebeat.bench.reference_cost``. Each recording is a simulated session of sets with rests, cut at a
round number of edges, and is analysed in a process of its own, so that its peak of memory is its own too. The
time is the process's own on a core: what else the computer does hardly counts.
"""

from __future__ import annotations

import argparse
import json
import math
import multiprocessing
import resource
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace

from brakebeat.bench.conditions import CONDITIONS, SEED_FROM
from brakebeat.bench.run import warn
from brakebeat.errors import BrakebeatError, InputError
from brakebeat.formats.recording import Recording
from brakebeat.many.processes import one_thread_each
from brakebeat.simulate import default_sensed

KINDS = ("clean-6", "quadrature-96")
EDGES = (10_000, 100_000)
_REPS_A_SET = 12
_REST_S = 60.0
# As many sets as the simulator takes in one session.
_MOST_SETS = 1000
# Linux counts the peak of memory in KiB, macOS in bytes.
_PEAK_UNIT = 1 if sys.platform == "darwin" else 1024


@dataclass(frozen=True)
class Cost:
    """One recording's analysis; memory in bytes, ``bare_bytes`` before the analysis, recording and libraries in."""

    kind: str
    edges: int
    reps: int
    seconds: float
    bare_bytes: int
    peak_bytes: int

    @property
    def edges_per_s(self) -> float:
        """Edges analysed in a second of processor time."""
        return self.edges / self.seconds


def main(argv: Sequence[str] | None = None) -> int:
    """Measure and print; 2 where the call was wrong."""
    parser = argparse.ArgumentParser(
        prog="python -m brakebeat.bench.reference_cost", description=__doc__.split("\n\n", 1)[0]
    )
    parser.add_argument("--edges", type=int, nargs="+", default=EDGES, metavar="N", help="(10000 100000)")
    parser.add_argument("--kinds", nargs="+", default=KINDS, metavar="KIND", help="(clean-6 quadrature-96)")
    parser.add_argument("--json", action="store_true", help="one JSON document instead of the table")
    args = parser.parse_args(argv)
    try:
        costs = _measured(args.kinds, args.edges, quiet=args.json)
    except BrakebeatError as error:
        warn(f"brakebeat.bench.reference_cost: {error}")
        return error.exit_code
    if args.json:
        rows = [asdict(cost) | {"edges_per_s": cost.edges_per_s} for cost in costs]
        print(json.dumps({"schema": 1, "costs": rows}, indent=1))
    return 0


def _measured(kinds: Sequence[str], sizes: Sequence[int], quiet: bool) -> list[Cost]:
    for kind in kinds:
        if kind not in CONDITIONS:
            raise InputError(
                f"--kinds {kind}: no such kind of recording; `accuracy --list` (beside this) shows them"
            )
    for edges in sizes:
        if edges < 1:
            raise InputError(f"--edges {edges}: must be at least 1")
    costs = []
    if not quiet:
        print(f"{'kind':<16}{'edges':>9}{'reps':>7}{'s':>9}{'edges/s':>9}{'peak MB':>9}{'MB before':>11}")
    for kind in kinds:
        for edges in sizes:
            costs.append(_in_own_process(kind, edges))
            if not quiet:
                print(_line(costs[-1]), flush=True)
    return costs


def _line(cost: Cost) -> str:
    peak, bare = cost.peak_bytes / 1e6, cost.bare_bytes / 1e6
    return (
        f"{cost.kind:<16}{cost.edges:>9}{cost.reps:>7}{cost.seconds:>9.1f}{cost.edges_per_s:>9.0f}"
        f"{peak:>9.0f}{bare:>11.0f}"
    )


def _in_own_process(kind: str, edges: int) -> Cost:
    recording = session(kind, edges)
    one_thread_each()
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as pool:
        return pool.submit(measure, kind, recording).result()


def measure(kind: str, recording: Recording) -> Cost:
    """Analyse one recording in this process; the peak of memory is the process's since it began."""
    from brakebeat.reference import analyse

    bare = _peak_bytes()
    before = time.process_time()
    analysis = analyse(recording)
    seconds = time.process_time() - before
    return Cost(kind, len(recording.t_us), len(analysis.reps), seconds, bare, _peak_bytes())


def session(kind: str, edges: int) -> Recording:
    """A simulated session seen by a kind's sensor, cut after so many edges.

    Raises:
        InputError: the longest session has fewer edges.
    """
    sensor = CONDITIONS[kind].sensor
    sets = 1
    while True:
        recording = default_sensed(
            SEED_FROM, sensor=sensor, reps=_REPS_A_SET, sets=sets, rest_s=_REST_S
        ).recording
        made = len(recording.t_us)
        if made >= edges:
            return replace(recording, t_us=recording.t_us[:edges], step=recording.step[:edges])
        if sets == _MOST_SETS:
            raise InputError(f"--edges {edges}: {kind} gives {made} at most in one session; ask for fewer")
        sets = min(math.ceil(1.02 * sets * edges / made), _MOST_SETS)


def _peak_bytes() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * _PEAK_UNIT


if __name__ == "__main__":
    sys.exit(main())
