"""The reference runs on the streamed edges while the set goes on, and is held against each rep that the board sends."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncGenerator, Callable
from dataclasses import dataclass

import numpy as np

from brakebeat.check import Limits, match
from brakebeat.check.compare import judge
from brakebeat.formats.recording import Recording
from brakebeat.link.events import EdgesArrived
from brakebeat.reference import analyse
from brakebeat.results import Analysis, Rep
from brakebeat.watch.tape import EdgeTape

# The reference gets no more than this at a time: it has to keep up with the set.
WINDOW_US = 45_000_000
# A pause in the edges as long as this ends a set as far as the reference is concerned.
_PAUSE_US = 6_000_000
# A rep that the reference cannot see may still need an edge or two from behind its end.
_PATIENCE_S = 2.0
_LOOK_AGAIN_S = 0.5


@dataclass(frozen=True)
class RepChecked:
    """What the reference says of a rep; ``reference`` is None where it cannot say anything, ``why`` then tells why."""

    rep: Rep
    reference: Rep | None
    ok: bool
    words: str


class LiveCheck:
    """Takes edges and reps of one board, gives ``results``. Times are on the board's clock.

    ``header``: what the recording of these edges would have above them (the rig); set it before the first rep.
    """

    def __init__(
        self,
        limits: Limits,
        reference: Callable[[Recording], Analysis] = analyse,
    ) -> None:
        self.header: dict[str, str] | None = None
        self._limits = limits
        self._reference = reference
        self._tape = EdgeTape()
        self._boot: int | None = None
        self._pending: list[tuple[Rep, float]] = []
        self._wake = asyncio.Event()
        self._closed = False

    def edges(self, event: EdgesArrived) -> None:
        """Edges have come."""
        if event.boot != self._boot:
            # The board's clock has started again: what was before is another story.
            self._tape, self._boot = EdgeTape(), event.boot
        self._tape.add(event.t_us, event.step, event.missing)

    def rep(self, rep: Rep) -> None:
        """The board has sent a rep."""
        self._pending.append((rep, asyncio.get_running_loop().time()))
        self._wake.set()

    def close(self) -> None:
        """Nothing more will come: what is pending is told once more, then ``results`` ends."""
        self._closed = True
        self._wake.set()

    async def results(self) -> AsyncGenerator[RepChecked, None]:
        """An answer to each rep, as soon as the reference has one."""
        while not (self._closed and not self._pending):
            await self._something_to_do()
            if not self._pending:
                continue
            loop = asyncio.get_running_loop()
            asked, began_s = list(self._pending), loop.time()
            found = await self._ask()
            for entry, answer in zip(asked, self._answers([rep for rep, _ in asked], found), strict=True):
                rep, arrived_s = entry
                last_chance = self._closed or began_s - arrived_s >= _PATIENCE_S
                if answer is not None or last_chance:
                    self._pending.remove(entry)
                    yield answer or RepChecked(rep, None, False, self._why_not(rep))

    async def _something_to_do(self) -> None:
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._wake.wait(), _LOOK_AGAIN_S if self._pending else None)
        self._wake.clear()

    async def _ask(self) -> list[Rep]:
        """The reference's reps in the edges of the set so far (or of its last part)."""
        self._tape.forget_before(self._window_from())
        if self.header is None or self._tape.last_us is None:
            return []
        return (await asyncio.to_thread(self._reference, self._tape.recording(self.header))).reps

    def _window_from(self) -> int:
        times, _ = self._tape.edges()
        if not times.size:
            return 0
        oldest_us = min(self._pending[0][0].start_us, int(times[-1]))
        pauses = np.flatnonzero(np.diff(times) > _PAUSE_US)
        starts = times[pauses + 1]
        # A rep may begin a little before its first edge.
        set_starts = starts[starts <= oldest_us + _PAUSE_US // 2]
        begin_us = int(set_starts[-1]) if set_starts.size else int(times[0])
        return max(begin_us, min(oldest_us - 1, int(times[-1]) - WINDOW_US))

    def _answers(self, reps: list[Rep], found: list[Rep]) -> list[RepChecked | None]:
        answers: list[RepChecked | None] = [None] * len(reps)
        for i, j in match(reps, found, self._limits.matching.min_overlap).pairs:
            answers[i] = _compared(reps[i], found[j], self._limits)
        return answers

    def _why_not(self, rep: Rep) -> str:
        if self.header is None:
            return "no rig known for the reference"
        if self._tape.count == 0:
            return "no edges have come"
        if any(hole.from_us < rep.end_us and hole.to_us > rep.start_us for hole in self._tape.holes):
            return "edges lost in this rep: no comparison"
        times, _ = self._tape.edges(rep.start_us)
        if not times.size or self._tape.edges()[0][0] > rep.start_us + (rep.end_us - rep.start_us) // 4:
            return "pulled before its edges were listened to: no comparison"
        return "NOT FOUND by the reference"


def _compared(board: Rep, reference: Rep, limits: Limits) -> RepChecked:
    judged = judge([(board, reference)], limits)
    wrong = [NAMES[name] for name, report in judged.items() if not report.ok]
    parts = ["ok" if not wrong else f"TOO FAR: {', '.join(wrong)}"]
    parts.append(f"peak {_relative(board.peak_rad_s, reference.peak_rad_s)}")
    brakes = board.brake_fraction, reference.brake_fraction
    if brakes[0] is not None and brakes[1] is not None:
        parts.append(f"brake {brakes[0] - brakes[1]:+.2f}")
    powers = board.concentric.mean_power_w, reference.concentric.mean_power_w
    if powers[0] is not None and powers[1] is not None:
        parts.append(f"power {_relative(*powers)}")
    for name, (mine, theirs) in (("brake", brakes), ("power", powers)):
        if (mine is None) != (theirs is None):
            parts.append(f"{name} by the {'reference' if mine is None else 'board'} only")
    return RepChecked(board, reference, not wrong, "  ".join(parts))


NAMES = {
    "peak_rad_s": "peak",
    "start_us": "start",
    "extension_us": "φ = 0",
    "end_us": "end",
    "brake_fraction": "brake",
    "concentric_mean_power_w": "power",
}


def _relative(mine: float | None, theirs: float | None) -> str:
    return "–" if mine is None or not theirs else f"{mine / theirs - 1:+.1%}"
