"""The store's contents for a person: tables and lines, every number with its unit."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from brakebeat.store.queries import SessionSummary, StoredSet
from brakebeat.store.rep_rows import StoredRep
from brakebeat.whole_table import print_whole
from brakebeat.wording import counted


def console() -> Console:
    """Standard output, wide enough for a table where it is no terminal."""
    found = Console(highlight=False)
    return found if found.is_terminal else Console(width=120, highlight=False)


def print_sessions(found: Sequence[SessionSummary], total: int) -> None:
    """A line a session."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading, justify in (
        ("session", "right"),
        ("started", "left"),
        ("athlete", "left"),
        ("exercise", "left"),
        ("sets", "right"),
        ("reps", "right"),
    ):
        table.add_column(heading, justify="right" if justify == "right" else "left")
    for each in found:
        table.add_row(
            str(each.id),
            f"{each.started:%a %Y-%m-%d %H:%M}",
            escape(each.athlete),
            escape(", ".join(each.exercises) or "-"),
            str(each.sets),
            str(each.reps),
        )
    out = console()
    print_whole(out, table, ("athlete", "exercise"))
    if len(found) < total:
        out.print(f"{len(found)} of {total} sessions, the newest first; --limit 0 lists all")


def print_set(each: StoredSet, notes: Sequence[tuple[int, str]]) -> None:
    """A set: what it was done on, a line a rep, ``notes`` with their numbers."""
    out = console()
    inertia = "inertia unknown" if each.inertia_kg_m2 is None else f"{each.inertia_kg_m2:g} kg·m²"
    rig = "" if each.rig is None else f"{each.rig}, "
    edges = "raw edges kept" if each.has_edges else "no raw edges"
    out.print(
        f"\n[bold]{each.session_id}.{each.position}[/bold] {escape(each.exercise)} on {escape(rig)}{inertia} "
        f"at {each.started:%H:%M:%S}; figures by {escape(each.engine)} {escape(each.engine_version)}, {edges}"
    )
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in (
        "rep",
        "peak\nrad/s",
        "con.\nmean W",
        "ecc.\nmean W",
        "con.\npeak W",
        "ecc.\npeak W",
        "con.\ns",
        "ecc.\ns",
        "brake\nfract.",
    ):
        table.add_column(heading, justify="right")
    table.add_column("braking")
    table.add_column("notes")
    for rep in each.reps:
        table.add_row(*_cells(rep))
    print_whole(out, table, ("notes",))
    counting = each.counting
    powers = [
        rep.rep.concentric.mean_power_w for rep in counting if rep.rep.concentric.mean_power_w is not None
    ]
    if powers:
        mean = sum(powers) / len(powers)
        out.print(
            f"{counted(len(counting), 'rep counts', 'reps count')}: concentric mean power {mean:.0f} W on average, "
            f"best {max(powers):.0f} W"
        )
    for number, text in notes:
        out.print(f"note {number}: {escape(text)}")


def _cells(stored: StoredRep) -> list[str]:
    rep, con, ecc = stored.rep, stored.rep.concentric, stored.rep.eccentric
    notes = [flag.replace("_", " ") for flag in rep.flags]
    if rep.momentum:
        notes.insert(0, "momentum")
    if stored.marked:
        notes.insert(0, "taken out")
    return [
        str(stored.number),
        f"{rep.peak_rad_s:.2f}",
        _number(con.mean_power_w, 0),
        _number(ecc.mean_power_w, 0),
        _number(con.peak_power_w, 0),
        _number(ecc.peak_power_w, 0),
        _number(con.duration_s, 2),
        _number(ecc.duration_s, 2),
        _number(rep.brake_fraction, 2),
        rep.brake_timing or "-",
        ", ".join(notes),
    ]


def _number(value: float | None, digits: int) -> str:
    return "-" if value is None else f"{value:.{digits}f}"
