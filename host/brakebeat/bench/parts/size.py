"""How big the board's code is, and how much RAM a session takes."""

from __future__ import annotations

from brakebeat.bench.cost import CODE_LIMIT_BYTES, STATE_LIMIT_BYTES, state_items
from brakebeat.bench.counting.sizes import ARCHITECTURES, imported_by, mpy_sizes
from brakebeat.bench.parts.figure import Figure, Measured, NotRun, Scale
from brakebeat.board.engine import micropython_command


def measure(_scale: Scale) -> Measured:
    """.mpy by processor, RAM on the VM."""
    measured = Measured()
    for architecture in ARCHITECTURES:
        what = f".mpy for {architecture}"
        whole = sum(mpy_sizes(architecture).values())
        bare = mpy_sizes(architecture, "-O3")
        reps = sum(bare[name] for name in imported_by("session.py"))
        measured.figures += [
            Figure(what, "as compiled", whole, "B", CODE_LIMIT_BYTES),
            Figure(what, "without line numbers (-O3)", sum(bare.values()), "B"),
            Figure(what, "of it from edges to reps and cues", reps, "B"),
        ]
    if micropython_command() is None:
        measured.not_run.append(NotRun("RAM", "no MicroPython VM here"))
        return measured
    for item in state_items():
        what = f"{item.what} ({item.note})" if item.note else item.what
        limit = None if item.limit is None else STATE_LIMIT_BYTES
        measured.figures.append(Figure(what, "RAM", item.value, item.unit, limit))
    return measured
