"""How long it takes from the end of a rep to its line on the screen, over the virtual link.

``python -m brakebeat.bench.latency``. The firmware plays recordings at the pace of life; the board's clock is tied
to the computer's by its answers to TIME, the quickest of which counts. The figure holds all of it: the board waits
until it is sure that the wheel has turned round, works the rep out, writes its journal and sends; the host puts it
together and prints.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import statistics
import struct
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from brakebeat.bench.run import warn
from brakebeat.board.files import load_wire
from brakebeat.errors import BrakebeatError
from brakebeat.formats.recording import read_recording
from brakebeat.link import Finder, Ledger, RepArrived, Wanted
from brakebeat.link.commands import unpack_clock
from brakebeat.link.connection import BoardConnection
from brakebeat.link.follow import connected, find
from brakebeat.link.words import rep_line
from brakebeat.samples import resolve
from brakebeat.virtual import VirtualRig, virtual_rig
from brakebeat.virtual.air import RadioLimits

_ASK_EVERY_S = 0.5


@dataclass
class Clocks:
    """Ties the board's clock to the computer's."""

    speed: float
    # The quickest answer so far: how long it took, the computer's time half-way, the board's clock.
    _best: tuple[float, float, int] | None = None

    def note(self, asked_s: float, answered_s: float, board_us: int) -> None:
        """An answer to TIME."""
        took_s = answered_s - asked_s
        if self._best is None or took_s < self._best[0]:
            self._best = took_s, (asked_s + answered_s) / 2, board_us

    def computer_s(self, board_us: int) -> float:
        """The computer's time at which the board's clock showed ``board_us``."""
        assert self._best is not None
        return self._best[1] + (board_us - self._best[2]) * 1e-6 / self.speed

    @property
    def uncertainty_s(self) -> float:
        """Half of what the quickest answer took: the moment within it is not known."""
        assert self._best is not None
        return self._best[0] / 2


@dataclass
class Latencies:
    """From the end of each rep to its line, in seconds; ``uncertainty_s`` is that of all of them together."""

    seconds: list[float] = field(default_factory=list)
    uncertainty_s: float = 0.0

    def summary(self) -> dict[str, float]:
        """Number, median, worst, uncertainty."""
        return {
            "n": len(self.seconds),
            "median_s": statistics.median(self.seconds),
            "worst_s": max(self.seconds),
            "uncertainty_s": self.uncertainty_s,
        }


async def measure(file: str, speed: float, limits: RadioLimits, show: Callable[[str], None]) -> Latencies:
    """Play one recording and time each of its reps. Raises InputError or DeviceError."""
    lines: list[tuple[int, float]] = []
    clocks = Clocks(speed)
    async with virtual_rig(read_recording(resolve(file)), speed=speed, limits=limits) as rig:
        finder = Finder()
        transport = await find(Wanted(address=rig.board.address), finder)
        async with connected(transport, finder, Ledger(0)) as connection:
            asking = asyncio.create_task(_ask_the_time(connection, clocks))
            try:
                await _print_all(connection, rig, lines, show)
            finally:
                asking.cancel()
                await asyncio.gather(asking, return_exceptions=True)
    return Latencies([shown_s - clocks.computer_s(end_us) for end_us, shown_s in lines], clocks.uncertainty_s)


async def _ask_the_time(connection: BoardConnection, clocks: Clocks) -> None:
    wire = load_wire()
    while True:
        # The clock of a played recording stands until the host listens: later answers only.
        await asyncio.sleep(_ASK_EVERY_S / clocks.speed)
        asked_s = time.monotonic()
        payload = await connection.control.ask(wire.COMMAND_TIME, struct.pack("<Q", time.time_ns() // 1000))
        clock = unpack_clock(payload)
        if clock is not None:
            clocks.note(asked_s, time.monotonic(), clock[0])


async def _print_all(
    connection: BoardConnection,
    rig: VirtualRig,
    lines: list[tuple[int, float]],
    show: Callable[[str], None],
) -> None:
    async with contextlib.aclosing(connection.events()) as events:
        async for event in events:
            if isinstance(event, RepArrived):
                show(rep_line(event.rep, event.cues))
                lines.append((event.rep.end_us, time.monotonic()))
            if rig.board.reps_played is not None and len(lines) >= rig.board.reps_played:
                return


def main(argv: Sequence[str] | None = None) -> int:
    """Measure and print; 0, or the error's code."""
    parser = argparse.ArgumentParser(prog="python -m brakebeat.bench.latency", description=__doc__)
    parser.add_argument("files", nargs="*", default=["sample:late"], metavar="FILE", help="recordings")
    parser.add_argument("--mtu", type=int, default=185, help="ATT MTU (185)")
    parser.add_argument(
        "--interval-ms", type=float, default=30.0, help="connection interval of the radio, 0 for none (30)"
    )
    parser.add_argument("--speed", type=float, default=1.0, help=argparse.SUPPRESS)
    parser.add_argument("--json", action="store_true", help="one JSON document instead of lines")
    args = parser.parse_args(argv)
    limits = RadioLimits(mtu=args.mtu, event_interval_s=args.interval_ms / 1000)
    together = Latencies()
    try:
        for file in args.files:
            found = asyncio.run(
                measure(file, args.speed, limits, (lambda _line: None) if args.json else _show)
            )
            together.seconds += found.seconds
            together.uncertainty_s = max(together.uncertainty_s, found.uncertainty_s)
    except BrakebeatError as error:
        warn(f"brakebeat.bench.latency: {error}")
        return error.exit_code
    summary = together.summary()
    if args.json:
        print(json.dumps({"schema": 1, **summary}))
    else:
        print(
            f"from a rep's end to its line: median {summary['median_s']:.3f} s, worst {summary['worst_s']:.3f} s, "
            f"{summary['n']} reps, known to ±{summary['uncertainty_s']:.3f} s (MTU {args.mtu}, "
            f"connection interval {args.interval_ms:g} ms)"
        )
    return 0


def _show(line: str) -> None:
    print(line, flush=True)


if __name__ == "__main__":
    sys.exit(main())
