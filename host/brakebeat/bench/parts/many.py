"""``check`` over many recordings: a process a core against one process. This one is by the clock on the wall."""

from __future__ import annotations

import time
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from brakebeat.bench.parts.figure import Figure, Measured, NotRun, Scale
from brakebeat.bench.parts.processor import processor_s
from brakebeat.board.engine import choose_engine
from brakebeat.check import load_limits
from brakebeat.formats.recording import write_recording
from brakebeat.many import gather
from brakebeat.many.processes import in_processes
from brakebeat.many.run import work_through
from brakebeat.many.version import EngineName, versions_of
from brakebeat.many.work import Order
from brakebeat.pools import usable_cores
from brakebeat.simulate import default_recording

RECORDINGS = 1000
_REPS = 6
_PROBE = 8
_FIRST_SEED = 1
# No recording is checked faster than this, whatever a probe on a busy computer says.
_LEAST_S = 0.01


def measure(scale: Scale) -> Measured:
    """Recordings checked, in how long, and how much faster all cores are than one; fewer where it takes too long."""
    cores = usable_cores()
    measured = Measured()
    with TemporaryDirectory(prefix="brakebeat-") as name:
        folder = Path(name)
        # What the start of a process takes does not grow with the recordings.
        start_s = _check(_written(folder, 1), 1).clock_s
        probe_s = max((_check(_written(folder, 1 + _PROBE), 1).clock_s - start_s) / _PROBE, _LEAST_S)
        wanted = scale.of(RECORDINGS, _PROBE)
        # Both runs must fit; all cores take no longer than one.
        fits = max(_PROBE, min(wanted, int(scale.budget_s / (2 * probe_s))))
        if fits < wanted:
            why = f"some {wanted * probe_s:,.0f} s for one core alone; --budget is {scale.budget_s:,.0f} s"
            measured.not_run.append(NotRun(f"{wanted:,} recordings ({fits:,} instead)", why))
        files = _written(folder, fits)
        what = f"{fits:,} recordings of {_REPS} reps"
        by_all = _check(files, cores)
        measured.figures += [
            Figure(what, "pass", by_all.passed, ""),
            Figure(what, f"all cores ({cores})", fits / by_all.clock_s, "recordings/s"),
        ]
        if cores > 1:
            by_one = _check(files, 1)
            measured.figures += [
                Figure(what, "one process", fits / by_one.clock_s, "recordings/s"),
                Figure(what, "speed-up", by_one.clock_s / by_all.clock_s, "×"),
                Figure(what, "of processor by one", by_one.busy_s / fits, "s a recording"),
            ]
        else:
            measured.not_run.append(NotRun("the speed-up", "there is one core here"))
    return measured


def _written(folder: Path, count: int) -> list[str]:
    """So many recordings, each of another wheel and athlete; those that are there are kept."""
    files = [folder / f"set{seed}.csv" for seed in range(_FIRST_SEED, _FIRST_SEED + count)]
    for seed, file in enumerate(files, _FIRST_SEED):
        if not file.exists():
            recording, _ = default_recording(seed, reps=_REPS)
            write_recording(file, recording.t_us, recording.step, recording.header)
    return [str(file) for file in files]


@dataclass(frozen=True)
class _Run:
    """One run, the start of the processes included: seconds on the clock and of processor, how many pass."""

    clock_s: float
    busy_s: float
    passed: int


def _check(files: list[str], processes: int) -> _Run:
    began_s = time.perf_counter()
    passed, busy_s = processor_s(partial(_passed, files, processes))
    return _Run(time.perf_counter() - began_s, busy_s, passed)


def _passed(files: list[str], processes: int) -> int:
    firmware = choose_engine()
    engines: tuple[EngineName, ...] = (firmware, "reference")
    found = work_through(files, Order(versions_of(engines)), in_processes(processes))
    return sum(report.verdict == "pass" for report in gather.reports(found, firmware, load_limits()))
