"""The share of reps above a set force."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree.ElementTree import Element

from brakebeat.report.markup import Child, el
from brakebeat.report.numbers import UNKNOWN, number, percent
from brakebeat.report.tables import Column, table
from brakebeat.store.connection import Store
from brakebeat.store.queries import Which
from brakebeat.store.sums import Above, SetSums, reps_above

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


def force_section(store: Store, which: Which, sets: Sequence[SetSums], force_n: float | None) -> Element:
    """How many reps' peak force passed ``force_n``, or 90 % of the exercise's best concentric one.

    ``sets`` are the sums of ``which``.
    """
    best: dict[str, float | None] = {}
    for each in sets:
        forces = (best.get(each.exercise), each.working.greatest_force_n)
        best[each.exercise] = max((force for force in forces if force is not None), default=None)
    limits = {
        name: _OWN_SHARE * force if force_n is None and force is not None else force_n
        for name, force in best.items()
    }
    rows = [
        row
        for name, limit in limits.items()
        if limit is not None
        and (row := _row(name, limit, *reps_above(store, which, name, limit))) is not None
    ]
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


def _row(exercise: str, limit_n: float, concentric: Above, eccentric: Above) -> list[Child] | None:
    if not concentric.of and not eccentric.of:
        return None
    return [
        exercise,
        number(limit_n),
        _count(concentric),
        percent(concentric.share),
        _count(eccentric),
        percent(eccentric.share),
    ]


def _count(found: Above) -> str:
    return f"{found.above} of {found.of}" if found.of else UNKNOWN
