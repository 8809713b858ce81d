"""Tables of reps, sets and whatever else has rows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from operator import attrgetter
from xml.etree.ElementTree import Element

from brakebeat.report.figures import (
    drops,
    known,
    mean_of,
    mean_power_w,
    peak_rad_s,
    timing_of,
    working,
)
from brakebeat.report.markup import Child, el
from brakebeat.report.numbers import UNKNOWN, number, percent
from brakebeat.store.queries import StoredSet
from brakebeat.store.rep_rows import DOUBTFUL, StoredRep


@dataclass(frozen=True)
class Column:
    """A heading with its unit. ``key`` names its figure, for programs that read the page."""

    heading: str
    unit: str = ""
    key: str = ""
    words: bool = False


def table(caption: str, columns: Sequence[Column], rows: Iterable[Sequence[Child]], css: str = "") -> Element:
    """A table that scrolls by itself where the screen is narrow; each row's first cell is its heading."""
    heads = [
        el(
            "th",
            each.heading,
            el("span", " ", each.unit, class_="unit") if each.unit else None,
            scope="col",
            data_figure=each.key or None,
            class_="words" if each.words else None,
        )
        for each in columns
    ]
    lines = [
        el(
            "tr",
            [
                _cell(place, column, child)
                for place, (column, child) in enumerate(zip(columns, row, strict=True))
            ],
        )
        for row in rows
    ]
    made = el(
        "table",
        el("caption", el("span", caption)),
        el("thead", el("tr", heads)),
        el("tbody", lines),
        class_=css or None,
    )
    return el("div", made, class_="scroll", tabindex="0", role="region", aria_label=caption)


def _cell(place: int, column: Column, child: Child) -> Element:
    css = "words" if column.words else None
    if place == 0:
        return el("th", child, scope="row", class_=css)
    return el("td", child, class_=css)


# heading, unit, figure of a Rep, digits behind the point
_REP = (
    ("peak", "rad/s", "peak_rad_s", 2),
    ("brake", "fraction", "brake_fraction", 2),
    ("con. time", "s", "concentric.duration_s", 2),
    ("ecc. time", "s", "eccentric.duration_s", 2),
    ("con. mean", "W", "concentric.mean_power_w", 0),
    ("ecc. mean", "W", "eccentric.mean_power_w", 0),
    ("con. peak", "W", "concentric.peak_power_w", 0),
    ("ecc. peak", "W", "eccentric.peak_power_w", 0),
    ("con. peak", "N·m", "concentric.peak_torque_nm", 1),
    ("ecc. peak", "N·m", "eccentric.peak_torque_nm", 1),
    ("con. peak", "N", "concentric.peak_force_n", 0),
    ("ecc. peak", "N", "eccentric.peak_force_n", 0),
    ("con. work", "J", "concentric.energy_j", 0),
    ("ecc. work", "J", "eccentric.energy_j", 0),
    ("ecc÷con", "peak W", "ratio_peak_power", 2),
    ("ecc÷con", "mean W", "ratio_mean_power", 2),
)
_FIGURES = tuple((attrgetter(f"rep.{figure}"), digits) for _, _, figure, digits in _REP)
# The word for the braking stands beside its number.
_WORD_AT = 2


def rep_table(each: StoredSet) -> Element:
    """A row a rep with every figure that the store has; a mean over the reps that count at the foot."""
    columns = [Column(heading, unit, figure) for heading, unit, figure, _ in _REP]
    columns.insert(_WORD_AT, Column("braking", key="brake_timing", words=True))
    rows = [
        _rep_row(
            str(rep.number) if rep.counts else f"({rep.number})",
            [number(figure(rep), digits) for figure, digits in _FIGURES],
            rep.rep.brake_timing or UNKNOWN,
            rep_notes(rep),
        )
        for rep in each.reps
    ]
    reps = working(each)
    if reps:
        timing = timing_of(reps)
        means = [number(mean_of(reps, figure), digits) for figure, digits in _FIGURES]
        rows.append(
            _rep_row("mean", means, f"{timing.inside} of {timing.told} inside", f"of {len(reps)} that count")
        )
    caption = f"Set {each.session_id}.{each.position}, rep by rep (con. = concentric, ecc. = eccentric)"
    columns = [Column("rep"), *columns, Column("notes", words=True)]
    return table(caption, columns, rows, "reps" + (" mean-last" if reps else ""))


def _rep_row(name: str, figures: list[str], braking: str, notes: str) -> list[Child]:
    return [name, *figures[:_WORD_AT], braking, *figures[_WORD_AT:], notes]


def rep_notes(rep: StoredRep) -> str:
    """What is to be known about a rep, in words."""
    notes = ["taken out"] if rep.marked else []
    notes += ["momentum"] if rep.rep.momentum else []
    notes += [flag.replace("_", " ") for flag in rep.rep.flags]
    if rep.counts and DOUBTFUL.intersection(rep.rep.flags):
        notes.append("not in the means")
    return ", ".join(notes)


SET_COLUMNS = (
    Column("set"),
    Column("exercise", words=True),
    Column("inertia", "kg·m²", "inertia_kg_m2"),
    Column("reps", "that count", "reps"),
    Column("best peak", "rad/s", "best_peak_rad_s"),
    Column("con. mean", "W, mean", "mean_power_w"),
    Column("con. mean", "W, best", "best_power_w"),
    Column("ecc. mean", "W, mean", "ecc_mean_power_w"),
    Column("last rep", "% of best W", "last_share"),
    Column("well timed", "of told", "timing"),
    Column("con. work", "J", "concentric_j"),
    Column("ecc. work", "J", "eccentric_j"),
)


def set_table(caption: str, sets: Sequence[StoredSet]) -> Element:
    """A row a set."""
    return table(caption, SET_COLUMNS, [_set_row(each) for each in sets], "sets")


def _set_row(each: StoredSet) -> list[Child]:
    reps = working(each)
    falls = drops(reps, mean_power_w)
    timing = timing_of(reps)
    return [
        f"{each.session_id}.{each.position}",
        each.exercise,
        UNKNOWN if each.inertia_kg_m2 is None else f"{each.inertia_kg_m2:g}",
        str(len(reps)),
        number(max(known(reps, peak_rad_s), default=None), 1),
        number(mean_of(reps, mean_power_w)),
        number(max(known(reps, mean_power_w), default=None)),
        number(mean_of(reps, lambda rep: rep.rep.eccentric.mean_power_w)),
        percent(1.0 - falls[-1][1]) if falls else UNKNOWN,
        f"{timing.inside} of {timing.told}",
        number(_sum(known(reps, lambda rep: rep.rep.concentric.energy_j))),
        number(_sum(known(reps, lambda rep: rep.rep.eccentric.energy_j))),
    ]


def _sum(values: Sequence[float]) -> float | None:
    return sum(values) if values else None
