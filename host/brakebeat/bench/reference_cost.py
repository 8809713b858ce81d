"""What the reference costs a computer: edges a second and the peak of memory, by the length of the recording.

``python -m brakebeat.bench.reference_cost``. Each recording is a simulated session of sets with rests, cut at a
round number of edges, and is analysed in a process of its own, so that its peak of memory is its own too; bytes an
edge are what that peak exceeds Python, libraries and the recording by. The time is the process's own on a core.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import math
import multiprocessing
import resource
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

from brakebeat.bench.accuracy_table.conditions import CONDITIONS, SEED_FROM
from brakebeat.bench.run import warn
from brakebeat.errors import BrakebeatError, InputError
from brakebeat.formats.recording import Recording
from brakebeat.simulate import default_sensed
from brakebeat.threads import one_thread_each

KINDS = ("clean-6", "dirty-24", "quadrature-96", "quadrature-2400")
EDGES = (10_000, 100_000, 1_000_000)
_REPS_A_SET = 12
_REST_S = 60.0
# Longer recordings are a session of so many sets, played over and over.
_MOST_SETS = 50
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

    @property
    def bytes_per_edge(self) -> float:
        """Memory that the analysis takes beyond its input and the libraries."""
        return (self.peak_bytes - self.bare_bytes) / self.edges


def main(argv: Sequence[str] | None = None) -> int:
    """Measure and print; 2 where the call was wrong."""
    parser = argparse.ArgumentParser(
        prog="python -m brakebeat.bench.reference_cost", description=__doc__.split("\n\n", 1)[0]
    )
    parser.add_argument(
        "--edges", type=int, nargs="+", default=EDGES, metavar="N", help="(10000 100000 1000000)"
    )
    parser.add_argument(
        "--kinds",
        nargs="+",
        default=KINDS,
        metavar="KIND",
        help=f"({' '.join(KINDS)})",
    )
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
        print(f"{'kind':<16}{'edges':>9}{'reps':>7}{'s':>9}{'edges/s':>9}{'peak MB':>9}{'bytes/edge':>12}")
    for kind in kinds:
        for edges in sizes:
            costs.append(in_own_process(kind, edges))
            if not quiet:
                print(_line(costs[-1]), flush=True)
    return costs


def _line(cost: Cost) -> str:
    peak, more = cost.peak_bytes / 1e6, cost.bytes_per_edge
    return (
        f"{cost.kind:<16}{cost.edges:>9}{cost.reps:>7}{cost.seconds:>9.1f}{cost.edges_per_s:>9.0f}"
        f"{peak:>9.0f}{more:>12.0f}"
    )


def in_own_process(kind: str, edges: int) -> Cost:
    """Measure one kind of recording at one size."""
    one_thread_each()
    context = multiprocessing.get_context("spawn")
    # Making the recording takes memory, too: it is made in another process, and handed on by a file.
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "session.npz")
        for work in (_make, _measure_file):
            with ProcessPoolExecutor(1, context) as pool:
                cost = pool.submit(work, kind, edges, path).result()
    assert cost is not None
    return cost


def _make(kind: str, edges: int, path: Path) -> None:
    recording = session(kind, edges)
    np.savez(path, t_us=recording.t_us, step=recording.step, header=np.array(json.dumps(recording.header)))


def _measure_file(kind: str, _: int, path: Path) -> Cost:
    with np.load(path) as kept:
        recording = Recording(kept["t_us"], kept["step"], json.loads(str(kept["header"])))
    return measure(kind, recording)


def measure(kind: str, recording: Recording) -> Cost:
    """Analyse one recording in this process; the peak of memory is the process's since it began."""
    from brakebeat.reference import analyse

    bare = _peak_bytes()
    before = time.process_time()
    analysis = analyse(recording)
    seconds = time.process_time() - before
    return Cost(kind, len(recording.t_us), len(analysis.reps), seconds, bare, _peak_bytes())


def session(kind: str, edges: int) -> Recording:
    """So many edges of a session seen by a kind's sensor: up to some fifty sets are simulated, and played over and over
    where that is not enough."""
    sensor = CONDITIONS[kind].sensor
    sets, made = 1, 0
    while made < edges and sets <= _MOST_SETS:
        recording = default_sensed(
            SEED_FROM, sensor=sensor, reps=_REPS_A_SET, sets=sets, rest_s=_REST_S
        ).recording
        made = len(recording.t_us)
        enough = math.ceil(1.02 * sets * edges / made)
        sets = _MOST_SETS + 1 if sets == _MOST_SETS else min(enough, _MOST_SETS)
    times = math.ceil(edges / made)
    lasts_us = int(recording.t_us[-1] - recording.t_us[0] + _REST_S * 1e6)
    t_us = (recording.t_us + lasts_us * np.arange(times)[:, None]).ravel()[:edges]
    return replace(recording, t_us=t_us, step=np.tile(recording.step, times)[:edges])


def _peak_bytes() -> int:
    """The peak of this program's memory. Linux's ``ru_maxrss`` begins at what the parent had, ``VmHWM`` does not."""
    with contextlib.suppress(OSError):
        for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) * 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * _PEAK_UNIT


if __name__ == "__main__":
    sys.exit(main())
