"""Edges a second that the firmware keeps up with on this computer's VM, as a multiple of the 4,000 that it must.

Two figures: the passes over edges alone (steady turning, what an interrupt's ring must be emptied by), and whole
recordings with everything that a rep's end adds. Seconds are the processor's, so the multiple is what one core of
this computer could take without end; a board is some hundred times slower, and its instructions are counted in
``board``.
"""

from __future__ import annotations

from functools import partial

from brakebeat.bench.counting.hot_path import Feed, run_feed
from brakebeat.bench.parts.figure import Figure, Measured, Scale
from brakebeat.bench.parts.processor import processor_s
from brakebeat.bench.reference_cost import session
from brakebeat.board import replay
from brakebeat.board.files import firmware_dir
from brakebeat.formats.recording import Recording

MUST_TAKE_PER_S = 4000
_FEEDS = (Feed(6), Feed(2400, counts=True))
_FINEST = "quadrature-2400"
_KINDS = ("clean-6", "quadrature-96", _FINEST)
_TIMES = 5


def measure(scale: Scale) -> Measured:
    """Both figures for each kind of sensor; ``InputError`` without a VM."""
    measured = Measured()
    for feed in _FEEDS:
        what = f"steady edges, {feed.pulses} a turn{' (quadrature)' if feed.counts else ''}, {feed.batch} at once"
        measured.figures += _figures(what, _passes_per_s(feed, scale.of(200_000, 100_000)), True)
    for kind in _KINDS:
        recording = session(kind, scale.of(20_000, 2_000))
        # Six magnets would have to turn at 40,000 turns a minute for so many edges: told, not limited.
        measured.figures += _figures(
            f"whole sets and rests, {kind}", _whole_per_s(recording), kind == _FINEST
        )
    return measured


def _figures(what: str, per_s: float, limited: bool) -> list[Figure]:
    limit = 1.0 if limited else None
    return [
        Figure(what, "sustained", per_s, "edges/s"),
        Figure(what, "of what it must take", per_s / MUST_TAKE_PER_S, "× 4,000/s", limit, True),
    ]


def _passes_per_s(feed: Feed, edges: int) -> float:
    """From two runs that make the same edges ready, so that making them cancels; the quickest of a few."""
    few = edges // 10

    def seconds(fed: int) -> float:
        run = partial(run_feed, firmware_dir(), feed, fed, ready=edges)
        return min(processor_s(run)[1] for _ in range(_TIMES))

    return (edges - few) / (seconds(edges) - seconds(few))


def _whole_per_s(recording: Recording) -> float:
    _, whole_s = processor_s(partial(replay, recording, engine="micropython"))
    return len(recording.t_us) / whole_s
