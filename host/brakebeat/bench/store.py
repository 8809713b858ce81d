"""How long the log takes with five years of daily sessions in it: ``python -m brakebeat.bench.store``.

Fills a store, then runs commands as a person would, each in a process of its own, and prints the seconds. The
newest session has raw edges, so that its report has curves to draw.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import os
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from brakebeat.formats.rig import Rig
from brakebeat.results import PhaseFigures, Rep
from brakebeat.simulate import default_recording
from brakebeat.store import Store, open_store
from brakebeat.store.catalog import named
from brakebeat.store.computing import import_recording
from brakebeat.store.sessions import add_reps, start_session, start_set

ATHLETE, EXERCISE = "Ravna", "belt squat"
FIRST = datetime(2021, 1, 4, 18, tzinfo=UTC)
SETS, REPS = 15, 9


def filled(store: Store, days: int) -> int:
    """A session a day into an empty store; the number of reps."""
    rig = Rig(name="barn wheel", pulses_per_rev=6, inertia_kg_m2=0.12, drum_radius_m=0.015)
    reps = 0
    with store.writing():
        athlete, exercise = named(store, "athlete", ATHLETE), named(store, "exercise", EXERCISE)
        for day in range(days):
            started = FIRST + timedelta(days=day)
            session = start_session(store, athlete, started)
            for place in range(SETS):
                at_ms = round(started.timestamp() * 1000) + 240_000 * place
                set_id = start_set(store, session, exercise, rig, "board", "0.1.0", at_ms)
                made = [_rep(number, 400.0 + day % 50 + place % 7) for number in range(REPS)]
                add_reps(store, set_id, made)
                reps += len(made)
    recording, _ = default_recording(41, reps=REPS, sets=2, late=(3,))
    last = import_recording(
        store, recording, athlete=ATHLETE, exercise=EXERCISE, started=FIRST + timedelta(days=days)
    )
    return reps + last.reps


def _rep(number: int, power_w: float) -> Rep:
    start_us = 1_000_000 + 2_000_000 * number
    concentric = PhaseFigures(0.9, 0.9 * power_w, power_w, 1.3 * power_w, 14.0, 700.0)
    return Rep(
        number,
        number < 2,
        start_us,
        start_us + 900_000,
        start_us + 1_800_000,
        start_us + 880_000,
        75.0 + number / 7,
        38.0,
        37.5,
        start_us + 1_100_000,
        0.26,
        "late" if number == 5 else "inside",
        concentric,
        dataclasses.replace(concentric, energy_j=0.8 * power_w, mean_power_w=0.9 * power_w),
    )


def commands(folder: Path, session: int) -> dict[str, list[str]]:
    """What is timed, by what to call it."""
    report = ["report", ATHLETE, "--out", str(folder / "athlete.html")]
    return {
        "list": ["log"],
        "list all": ["log", "list", "--limit", "0"],
        "show a session": ["log", "show", str(session)],
        "report of 12 weeks, the first time": report,
        "report of 12 weeks, again": report,
        "report of a session": ["report", str(session), "--out", str(folder / "session.html")],
        "report of five years": [*report, "--weeks", "0"],
        "export CSV": ["export", str(folder / "all.csv")],
        "export Parquet": ["export", str(folder / "all.parquet")],
        "export JSON": ["export", str(folder / "all.json")],
    }


def timed(path: Path, folder: Path, session: int) -> dict[str, tuple[float, float]]:
    """(seconds, seconds of processor) of each command, the interpreter's start included."""
    seconds = {}
    for name, call in commands(folder, session).items():
        began_s, before_s = time.perf_counter(), _children_s()
        subprocess.run(
            [sys.executable, "-m", "brakebeat", *call, "--store", str(path)], check=True, capture_output=True
        )
        seconds[name] = (time.perf_counter() - began_s, _children_s() - before_s)
    return seconds


def _children_s() -> float:
    """Processor time of all processes that have ended: what a busy machine does not add to."""
    times = os.times()
    return times.children_user + times.children_system


@dataclasses.dataclass(frozen=True)
class Filled:
    """A store of so many reps, how long it took to fill, and (seconds, seconds of processor) by command."""

    reps: int
    size_bytes: int
    filling_s: float
    seconds: dict[str, tuple[float, float]]


def measured(days: int) -> Filled:
    """Fill a store with ``days`` sessions and one with raw edges, then time the commands."""
    with tempfile.TemporaryDirectory(prefix="brakebeat-") as name:
        folder = Path(name)
        path = folder / "log.brakebeat"
        began_s = time.perf_counter()
        with open_store(path) as store:
            reps = filled(store, days)
        took_s = time.perf_counter() - began_s
        size_bytes = path.stat().st_size
        return Filled(reps, size_bytes, took_s, timed(path, folder, days + 1))


def main() -> None:
    """Fill, time, print."""
    parser = argparse.ArgumentParser(prog="python -m brakebeat.bench.store", description=__doc__)
    parser.add_argument("--days", type=int, default=1826, help="sessions, one a day (1826)")
    parser.add_argument("--json", action="store_true", help="print one JSON document and nothing else")
    args = parser.parse_args()
    found = measured(args.days)
    if args.json:
        print(json.dumps({"schema": 1, "reps": found.reps, "seconds": found.seconds}))
        return
    print(
        f"{found.reps} reps in {args.days + 1} sessions, {found.size_bytes / 1e6:.0f} MB, "
        f"filled in {found.filling_s:.0f} s"
    )
    for what, (took_s, busy_s) in found.seconds.items():
        print(f"{what:36} {took_s:6.2f} s, of which {busy_s:5.2f} s of processor")


if __name__ == "__main__":
    main()
