"""What an edge costs the board's code, counted and not timed. ``bench.cost`` has more: small batches, whole reps."""

from __future__ import annotations

from collections.abc import Iterator

from brakebeat.bench.cost import BYTECODE_LIMIT, FEEDS, HEAP_EDGES, VIPER_LIMIT
from brakebeat.bench.counting.callgrind import find_valgrind
from brakebeat.bench.counting.firmware_copy import firmware_copy
from brakebeat.bench.counting.hot_path import Feed, instructions_per_edge, run_feed
from brakebeat.bench.parts.figure import Figure, Measured, NotRun, Scale
from brakebeat.board.engine import micropython_command
from brakebeat.board.files import firmware_dir

_UNIT = "instructions an edge"


def measure(scale: Scale) -> Measured:
    """Instructions and heap of an edge, by sensor."""
    measured = Measured()
    if micropython_command() is None:
        measured.not_run.append(NotRun("all of it", "no MicroPython VM here"))
        return measured
    if find_valgrind() is None:
        measured.not_run.append(NotRun("instructions", "Valgrind is not installed"))
    else:
        measured.figures += _instructions((Feed(6),) if scale.quick else FEEDS)
    for feed in FEEDS:
        answer = run_feed(firmware_dir(), feed, HEAP_EDGES)
        column = f"heap over {answer['fed']:,} edges"
        measured.figures.append(Figure(_name(feed), column, answer["heap"], "B", 0))
    return measured


def _instructions(feeds: tuple[Feed, ...]) -> Iterator[Figure]:
    with firmware_copy(viper=False) as plain:
        for feed in feeds:
            own = instructions_per_edge(firmware_dir(), Feed(6, batch=feed.batch), "nothing")
            for column, folder, limit in (
                ("viper", firmware_dir(), VIPER_LIMIT),
                ("plain bytecode", plain, BYTECODE_LIMIT),
            ):
                value = instructions_per_edge(folder, feed) - own
                yield Figure(_name(feed), column, value, _UNIT, limit)


def _name(feed: Feed) -> str:
    return f"{feed.pulses} edges a turn{' (quadrature)' if feed.counts else ''}, {feed.batch} at once"
