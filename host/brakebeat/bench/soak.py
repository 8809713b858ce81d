"""``python -m brakebeat.bench.soak``: an hour of the whole firmware, and whether its counts and its heap are right.

The board's program runs on the MicroPython VM in virtual time: its tasks, interrupt handler, ring, session, journal
in files and radio with a host beside it that comes and goes. Sets of a simulated athlete, rests, strays, chatter,
storms of 100,000 edges a second, links that break and power-ups are drawn by chance; before each power-up the counter
is set so that it often wraps soon. After each of them what the board counts is compared with what it was given.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from brakebeat.bench.run import warn
from brakebeat.bench.soaking.board import Outcome, run_board, whole
from brakebeat.bench.soaking.events import COUNTERS, Event, draw
from brakebeat.board.files import load_wire
from brakebeat.errors import BrakebeatError

RIG = "pulses_per_rev = 6\ninertia_kg_m2 = 0.12\ndrum_radius_m = 0.03\n"
# Growth of the least heap between the first and the last third: less than a record a rep.
HEAP_LIMIT_BYTES = 512


@dataclass
class Soak:
    """What came of it. ``wrong``: each count that was not what had been fed."""

    minutes: float
    events: dict[str, int]
    reps: int
    interrupts: int
    wraps: int
    power_ups: int
    records: int
    heap_bytes: list[int]
    wrong: list[str]

    @property
    def heap_growth_bytes(self) -> int:
        """Least heap in use in the last third against the first."""
        third = max(1, len(self.heap_bytes) // 3)
        return min(self.heap_bytes[-third:]) - min(self.heap_bytes[:third])

    @property
    def ok(self) -> bool:
        """Nothing was wrong and the heap is flat."""
        return not self.wrong and self.heap_growth_bytes <= HEAP_LIMIT_BYTES

    def to_document(self) -> dict[str, Any]:
        """For JSON."""
        heap = {"least": min(self.heap_bytes), "most": max(self.heap_bytes), "growth": self.heap_growth_bytes}
        rest = {name: value for name, value in vars(self).items() if name != "heap_bytes"}
        return {"schema": 1, "ok": self.ok, **rest, "heap_bytes": heap}


def soak(minutes: float, seed: int, idle_us: int) -> Soak:
    """Live through it. Raises InputError without a VM, DeviceError where the program ends by itself."""
    events = draw(minutes, seed, idle_us)
    orders = [order for event in events for order in (*event.orders, {"do": "report"})]
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "rig.toml").write_text(RIG, "utf-8")
        outcome = whole(run_board(orders, Path(folder)))
    kinds = [event.kind for event in events]
    reports = outcome.reports
    return Soak(
        minutes=reports[-1]["world_us"] / 60e6,
        events={kind: kinds.count(kind) for kind in sorted(set(kinds))},
        reps=sum(event.expected.get("reps") or 0 for event in events),
        interrupts=sum(_last_of_each_power_up(events, reports, "interrupts")),
        wraps=sum(_last_of_each_power_up(events, reports, "wraps")),
        power_ups=kinds.count("power-up"),
        records=len(outcome.records),
        heap_bytes=[report["heap_bytes"] for report in reports],
        wrong=compare(events, outcome),
    )


def _last_of_each_power_up(events: Sequence[Event], reports: list[dict[str, Any]], name: str) -> list[int]:
    followed = [*(event.kind for event in events[1:]), "power-up"]
    return [report[name] for report, after in zip(reports, followed, strict=True) if after == "power-up"]


def compare(events: Sequence[Event], outcome: Outcome) -> list[str]:
    """Each count that is not what was fed, in words."""
    wrong = []
    before = dict.fromkeys(COUNTERS, 0)
    boot, first_record = -1, 0
    for number, (event, report) in enumerate(zip(events, outcome.reports, strict=True)):
        if event.kind == "power-up":
            # One that wrote nothing leaves its number to the next.
            boot += number == 0 or outcome.reports[number - 1]["journal_next"] > first_record
            first_record = report["journal_next"]
            before = dict.fromkeys(COUNTERS, 0)
        found = {name: report[name] - before[name] for name in COUNTERS}
        wanted = {name: event.expected.get(name, 0) for name in COUNTERS}
        told = {name: value for name, value in wanted.items() if value is not None and found[name] != value}
        wrong += [f"{number} {event.kind}: {name} {found[name]}, fed {value}" for name, value in told.items()]
        wrong += [f"{number} {event.kind}: {words}" for words in _always(report, boot)]
        if event.kind == "storm" and not _storm_counted(found):
            wrong.append(f"{number} storm: {found['interrupts']} edges, {found['overrun']} counted as lost")
        before = {name: report[name] for name in COUNTERS}
    return wrong + _delivered(events, outcome)


def _always(report: dict[str, Any], boot: int) -> list[str]:
    """What must hold whenever one looks."""
    since_us = report["since_power_us"]
    wanted = {
        "faults": 0,
        "trouble": "",
        "refused": 0,
        "reps_lost": 0,
        "journal_torn": 0,
        "overwritten": 0,
        "journal_boot": boot,
        "clock_us": since_us,
        "uptime_s": since_us // 1_000_000,
        "at_rest": True,
    }
    return [
        f"{name} {report[name]!r}, not {value!r}" for name, value in wanted.items() if report[name] != value
    ]


def _storm_counted(found: dict[str, int]) -> bool:
    """Nearly every edge of a storm is counted as lost, and no edge is counted twice."""
    return 0.95 * found["interrupts"] <= found["overrun"] <= found["interrupts"]


def _delivered(events: Sequence[Event], outcome: Outcome) -> list[str]:
    """Each rep once and in the journal's order."""
    wire = load_wire()
    numbers = [record.sequence for record in outcome.records]
    reps = sum(record.kind == wire.RECORD_REP for record in outcome.records)
    fed = sum(event.expected.get("reps") or 0 for event in events)
    wrong = []
    if numbers != list(range(outcome.reports[-1]["journal_next"])):
        wrong.append("records did not all arrive once and in order")
    if reps != fed:
        wrong.append(f"{reps} reps arrived, fed {fed}")
    return wrong


def main(argv: Sequence[str] | None = None) -> int:
    """Soak, print, and return 1 where a count was wrong or the heap grew."""
    parser = argparse.ArgumentParser(prog="python -m brakebeat.bench.soak", description=__doc__)
    parser.add_argument("--minutes", type=float, default=60.0, help="virtual time (60)")
    parser.add_argument("--seed", type=int, default=1, help="of what befalls the board (1)")
    parser.add_argument(
        "--idle-ms", type=int, default=1, help="the main loop's turn while nothing moves; a board's is 1 (1)"
    )
    parser.add_argument("--json", action="store_true", help="one JSON document instead of lines")
    args = parser.parse_args(argv)
    try:
        found = soak(args.minutes, args.seed, args.idle_ms * 1000)
    except BrakebeatError as error:
        warn(f"brakebeat.bench.soak: {error}")
        return error.exit_code
    if args.json:
        print(json.dumps(found.to_document(), indent=1))
    else:
        _show(found)
    return 0 if found.ok else 1


def _show(found: Soak) -> None:
    happened = ", ".join(f"{count} {kind}" for kind, count in found.events.items())
    print(f"{found.minutes:.0f} minutes of the board's time: {happened}")
    print(
        f"{found.interrupts:,} edges, {found.reps} reps, {found.wraps} wraps of the counter, {found.power_ups} "
        f"power-ups, {found.records} records taken"
    )
    heap = found.heap_bytes
    print(
        f"heap in use after collecting: {min(heap):,} to {max(heap):,} B; last third against first "
        f"{found.heap_growth_bytes:+,} B (limit {HEAP_LIMIT_BYTES})"
    )
    print("\n".join(found.wrong) or "every count was what had been fed")


if __name__ == "__main__":
    sys.exit(main())
