"""``python -m brakebeat.bench.cost``: what the firmware costs a board, counted rather than timed."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from rich.table import Table
from rich.text import Text

from brakebeat.bench.accuracy_table.show import console
from brakebeat.bench.counting.callgrind import find_valgrind
from brakebeat.bench.counting.firmware_copy import firmware_copy, viper_functions
from brakebeat.bench.counting.hot_path import Feed, Work, instructions_per_edge, run_feed
from brakebeat.bench.counting.instrument import SMALL_INT
from brakebeat.bench.counting.sizes import ARCHITECTURES, imported_by, mpy_sizes
from brakebeat.bench.counting.whole_reps import KINDS, instructions_per_rep, longest_call
from brakebeat.bench.counting.widths import hostile_widths
from brakebeat.bench.run import warn
from brakebeat.board.files import firmware_dir
from brakebeat.errors import BrakebeatError
from brakebeat.pools import usable_cores

VIPER_LIMIT = 1500
BYTECODE_LIMIT = 20_000
HEAP_EDGES = 10_000
STATE_LIMIT_BYTES = 4096
CODE_LIMIT_BYTES = 48 * 1024

# The limits are for full batches, in which edges come where they come fast; single edges are shown beside them.
FEEDS = (Feed(1), Feed(6), Feed(24), Feed(2400, counts=True))
SMALL_BATCHES = (Feed(6, batch=4), Feed(6, batch=1))
PARTS = ("instructions", "reps", "heap", "state", "code", "widths")


@dataclass(frozen=True)
class Item:
    """One line of the table; ``limit`` None: told, not limited."""

    part: str
    what: str
    value: float
    unit: str
    limit: float | None = None
    note: str = ""

    @property
    def ok(self) -> bool | None:
        """Whether the limit holds; None where there is none."""
        return None if self.limit is None else self.value <= self.limit


def instruction_items(jobs: int = 1) -> Iterator[Item]:
    """Instructions of the VM per edge handed over, with viper and in plain bytecode."""
    with firmware_copy(viper=False) as plain, ThreadPoolExecutor(jobs) as pool:
        whole = firmware_dir()

        def count(folder: Path, feed: Feed, work: Work) -> Callable[[], float]:
            return pool.submit(instructions_per_edge, folder, feed, work).result

        feeds = (*FEEDS, *SMALL_BATCHES)
        own = {feed.batch: count(whole, Feed(6, batch=feed.batch), "nothing") for feed in feeds}
        with_viper = [count(whole, feed, "passes") for feed in feeds]
        in_bytecode = [count(plain, feed, "passes") for feed in feeds]
        ring = count(whole, Feed(6), "ring")
        for name, counted, limit in (
            ("viper", with_viper, VIPER_LIMIT),
            ("bytecode", in_bytecode, BYTECODE_LIMIT),
        ):
            for feed, wait in zip(feeds, counted, strict=True):
                value = wait() - own[feed.batch]()
                yield Item(
                    "instructions",
                    f"{feed.pulses} edges/rev{' (quadrature)' if feed.counts else ''}, {name}, "
                    f"{feed.batch} at once",
                    value,
                    "per edge",
                    limit if feed in FEEDS else None,
                )
        yield Item(
            "instructions", "interrupt's ring, in and out, 64 at once", ring(), "per edge", None, "about"
        )


def rep_items(jobs: int = 1) -> Iterator[Item]:
    """Instructions of the VM for a rep in all, and for the longest call of ``feed`` or ``poll``."""
    with ThreadPoolExecutor(jobs) as pool:
        whole = pool.map(instructions_per_rep, KINDS)
        longest = pool.map(longest_call, KINDS)
        for what, counts in (("a rep in all", whole), ("longest call", longest)):
            for kind, counted in zip(KINDS, counts, strict=True):
                yield Item("reps", f"{kind}, {what}", counted / 1e6, "million instructions")


def heap_items() -> Iterator[Item]:
    """Heap that the passes take."""
    for feed in FEEDS:
        answer = run_feed(firmware_dir(), feed, HEAP_EDGES)
        what = f"{feed.pulses} edges/rev, {answer['fed']} edges"
        yield Item("heap", what, answer["heap"], "B", 0)


def state_items() -> Iterator[Item]:
    """RAM that a session keeps."""
    answers = [run_feed(firmware_dir(), feed, 64) for feed in FEEDS]
    most = max(answer["array_bytes"] for answer in answers)
    yield Item("state", "arrays of a session", most, "B", STATE_LIMIT_BYTES)
    whole = max(answer["session_bytes"] for answer in answers)
    yield Item("state", "arrays and objects of a session", whole, "B", None, "on this 64-bit VM")
    yield Item("state", "the interrupt's ring of 512 edges", answers[0]["ring_bytes"], "B")


def code_items() -> Iterator[Item]:
    """Size of all board code as .mpy."""
    for architecture in ARCHITECTURES:
        total = sum(mpy_sizes(architecture).values())
        bare = mpy_sizes(architecture, "-O3")
        reps = sum(bare[name] for name in imported_by("session.py"))
        note = (
            f"{sum(bare.values())} B with -O3 (no line numbers), {reps} B of it from edges to reps and cues"
        )
        yield Item("code", f".mpy for {architecture}", total, "B", CODE_LIMIT_BYTES, note)


def width_items() -> Iterator[Item]:
    """How wide integers get under hostile edges, and whether a session stands them."""
    for backwards in (False, True):
        passes = hostile_widths(60, 2, backwards=backwards)
        for name, seen in passes.modules.items():
            beyond = ", ".join(f"line {line}: {most:.3g}" for line, most in seen["lines_beyond"].items())
            how = "times that leap about" if backwards else "times that run on"
            yield Item("widths", f"{name}.py, {how}", seen["most"], "", SMALL_INT - 1, beyond)
    whole = hostile_widths(60, 2, whole=True, backwards=False)
    what = f"of {whole.sessions} whole sessions broke down"
    yield Item("widths", what, whole.broken_sessions, "", 0, "; ".join(whole.broke_down))


def measure(parts: Sequence[str], jobs: int) -> list[Item]:
    """All items of the parts asked for."""
    items: list[Item] = []
    counts = {"instructions": instruction_items, "reps": rep_items}
    counted = [make for part, make in counts.items() if part in parts]
    if counted and find_valgrind() is None:
        warn("valgrind is not installed: instructions are NOT counted (apt-get install valgrind)")
        counted = []
    for count in counted:
        items += count(jobs)
    makers = {"heap": heap_items, "state": state_items, "code": code_items, "widths": width_items}
    for part, make in makers.items():
        if part in parts:
            items += make()
    return items


def main(argv: Sequence[str] | None = None) -> int:
    """Measure, print, and return 1 where a limit is broken."""
    parser = argparse.ArgumentParser(
        prog="python -m brakebeat.bench.cost",
        description="What the firmware costs a board, counted rather than timed: instructions of the unix VM "
        "under callgrind, heap, state, size of the code, width of integers.",
    )
    parser.add_argument(
        "--only", nargs="+", choices=PARTS, default=PARTS, metavar="PART", help=", ".join(PARTS)
    )
    parser.add_argument("--jobs", type=int, default=usable_cores(), metavar="J", help="processes (all cores)")
    parser.add_argument("--json", action="store_true", help="one JSON document instead of the table")
    args = parser.parse_args(argv)
    try:
        items = measure(args.only, max(1, args.jobs))
    except BrakebeatError as error:
        warn(f"brakebeat.bench.cost: {error}")
        return error.exit_code
    if args.json:
        print(json.dumps({"schema": 1, "items": [{**vars(item), "ok": item.ok} for item in items]}, indent=1))
    else:
        print_items(items)
    return 1 if any(item.ok is False for item in items) else 0


def print_items(items: Sequence[Item]) -> None:
    """The costs as one table."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in ("what", "cost", "limit"):
        table.add_column(heading, justify="left" if heading == "what" else "right", no_wrap=heading != "what")
    table.add_column("", no_wrap=True)
    table.add_column("note")
    part = ""
    for item in items:
        if item.part != part:
            part = item.part
            table.add_row(Text(part, "bold"))
        mark = {None: Text(""), True: Text("ok", "green"), False: Text("FAIL", "bold red")}[item.ok]
        limit = "–" if item.limit is None else f"{item.limit:,.0f}"
        table.add_row(f"  {item.what}", f"{item.value:,.0f} {item.unit}".strip(), limit, mark, item.note)
    out = console()
    out.print(table)
    out.print(f"{viper_functions()} functions are viper; the plain bytecode is the same source without them.")


if __name__ == "__main__":
    sys.exit(main())
