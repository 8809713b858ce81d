"""The share of reps above a set force."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree.ElementTree import Element

from brakebeat.report.figures import Above, above_force, known, working
from brakebeat.report.markup import Child, el
from brakebeat.report.numbers import UNKNOWN, number, percent
from brakebeat.report.tables import Column, table
from brakebeat.store.queries import StoredSet

# Of the best rep, where no force is given.
_OWN_SHARE = 0.9
_COLUMNS = (
    Column("exercise", words=True),
    Column("force", "N", "force_n"),
    Column("concentric", "reps above", "concentric_above"),
    Column("concentric", "share", "concentric_share"),
    Column("eccentric", "reps above", "eccentric_above"),
    Column("eccentric", "share", "eccentric_share"),
)


def force_section(sets: Sequence[StoredSet], force_n: float | None) -> Element:
    """How many reps' peak force passed ``force_n``, or 90 % of the exercise's best concentric one."""
    exercises: dict[str, list[StoredSet]] = {}
    for each in sets:
        exercises.setdefault(each.exercise, []).append(each)
    rows = [row for name, those in exercises.items() if (row := _row(name, those, force_n)) is not None]
    if not rows:
        words = "No rep's force is known: it takes the rig's inertia and drum radius."
        return el("section", el("h2", "Reps above a set force"), el("p", words))
    source = (
        f"The force is the {number(force_n)} N that was asked for."
        if force_n is not None
        else f"No force was asked for (--force), so it is {percent(_OWN_SHARE)} of the exercise's best concentric "
        "peak force here."
    )
    words = (
        f"{source} A rep counts as above where its peak force at the strap (50 ms running mean) is greater."
    )
    return el(
        "section",
        el("h2", "Reps above a set force"),
        table("Share of reps above a set force", _COLUMNS, rows),
        el("p", words, class_="aside"),
    )


def _row(exercise: str, sets: Sequence[StoredSet], force_n: float | None) -> list[Child] | None:
    reps = [rep for each in sets for rep in working(each)]
    forces = known(reps, lambda rep: rep.rep.concentric.peak_force_n)
    if not forces and not known(reps, lambda rep: rep.rep.eccentric.peak_force_n):
        return None
    if force_n is None and not forces:
        return None
    limit = _OWN_SHARE * max(forces) if force_n is None else force_n
    con, ecc = above_force(reps, "concentric", limit), above_force(reps, "eccentric", limit)
    return [exercise, number(limit), _count(con), percent(con.share), _count(ecc), percent(ecc.share)]


def _count(found: Above) -> str:
    return f"{found.above} of {found.of}" if found.of else UNKNOWN
