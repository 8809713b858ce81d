"""The reference by the length of the recording: edges a second, memory, and whether both stay in proportion."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from brakebeat.bench.parts.figure import Figure, Measured, NotRun, Scale
from brakebeat.bench.reference_cost import KINDS, Cost, in_own_process

WANTED_PER_S = 1e6
WANTED_BYTES = 64
_SIZES = (10_000, 100_000, 1_000_000, 10_000_000)
# A tenth beyond proportion for each tenfold length is still called linear.
_LINEAR = 1.1


def measure(scale: Scale) -> Measured:
    """Each kind at every size that the budget is enough for."""
    measured = Measured()
    for kind in KINDS:
        costs: list[Cost] = []
        for edges in (1_000, 3_000) if scale.quick else _SIZES:
            why = _too_long(costs, edges, scale.budget_s / len(KINDS))
            if why:
                measured.not_run.append(NotRun(f"{kind}, {edges:,} edges", why))
                continue
            costs.append(in_own_process(kind, edges))
            measured.figures += _of_one(costs[-1])
        measured.figures += _growth(costs)
    return measured


def _too_long(costs: Sequence[Cost], edges: int, budget_s: float) -> str:
    """Why a size is left out; nothing where it fits into what is left."""
    if not costs:
        return ""
    expected_s = costs[-1].seconds / costs[-1].edges * edges
    left_s = budget_s - sum(cost.seconds for cost in costs)
    if expected_s <= left_s:
        return ""
    return f"some {expected_s:,.0f} s of processor, {left_s:,.0f} s are left of --budget"


def _of_one(cost: Cost) -> list[Figure]:
    what = f"{cost.kind}, {cost.edges:,} edges, {cost.reps} reps"
    return [
        Figure(what, "time", cost.seconds, "s of processor"),
        Figure(what, "pace", cost.edges_per_s, "edges/s", WANTED_PER_S, True),
        Figure(what, "peak of memory", cost.peak_bytes / 1e6, "MB"),
        Figure(what, "beyond input and libraries", cost.bytes_per_edge, "B an edge", WANTED_BYTES),
    ]


def _growth(costs: Sequence[Cost]) -> list[Figure]:
    """Time beyond proportion, from each size to the next: 1 is linear."""
    return [
        Figure(
            f"{less.kind}, from {less.edges:,} to {more.edges:,} edges",
            "growth",
            (more.seconds / less.seconds) / (more.edges / less.edges),
            "× proportion",
            _LINEAR,
        )
        for less, more in pairwise(costs)
    ]
