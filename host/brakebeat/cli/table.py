"""Prints what an engine found in a recording, for a person: a line a rep, every number with its unit.

People count reps from 1, the JSON documents from 0.
"""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from brakebeat.results import Analysis, Rep
from brakebeat.screen import RPM_PER_RAD_S, or_dash
from brakebeat.whole_table import print_whole
from brakebeat.wording import CUE_WORDS, counted


def print_analysis(analysis: Analysis) -> None:
    """Write ``analysis`` to standard output as a table with the cues and counters below it."""
    console = Console()
    if not console.is_terminal:
        console = Console(width=120)
    table = Table(box=None, pad_edge=False, header_style="bold")
    console.print(
        f"{counted(len(analysis.reps), 'rep')} from {counted(analysis.pulses, 'edge')}, by {analysis.engine}"
    )
    for heading in (
        "rep",
        "start\ns",
        "peak\nrad/s",
        "\nrpm",
        "con.\nmean W",
        "ecc.\nmean W",
        "con.\npeak W",
        "ecc.\npeak W",
        "brake\nfract.",
        "braking",
        "notes",
    ):
        table.add_column(heading, justify="left" if heading in ("braking", "notes") else "right")
    for rep in analysis.reps:
        table.add_row(*_cells(rep))
    print_whole(console, table, ("notes",))
    for cue in analysis.cues:
        console.print(
            f"cue: {CUE_WORDS.get(cue.kind, cue.kind)} at {cue.t_us / 1e6:.3f} s, in rep {cue.rep + 1}"
        )
    console.print(_quality(analysis))


def _cells(rep: Rep) -> list[str]:
    notes = [flag.replace("_", " ") for flag in rep.flags]
    if rep.momentum:
        notes.insert(0, "momentum")
    return [
        str(rep.index + 1),
        f"{rep.start_us / 1e6:.3f}",
        f"{rep.peak_rad_s:.2f}",
        f"{rep.peak_rad_s * RPM_PER_RAD_S:.0f}",
        or_dash(rep.concentric.mean_power_w),
        or_dash(rep.eccentric.mean_power_w),
        or_dash(rep.concentric.peak_power_w),
        or_dash(rep.eccentric.peak_power_w),
        or_dash(rep.brake_fraction, 2),
        rep.brake_timing or "unknown",
        ", ".join(notes),
    ]


def _quality(analysis: Analysis) -> str:
    counters = vars(analysis.quality)
    told = [f"{name} {count}" for name, count in counters.items() if count is not None]
    return "edges and stretches left out: " + (", ".join(told) if told else "not counted")
