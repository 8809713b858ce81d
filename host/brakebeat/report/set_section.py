"""One set in full: what it was, its pictures, its reps."""

from __future__ import annotations

from xml.etree.ElementTree import Element

from brakebeat.formats.rig import Rig
from brakebeat.report.curves import curve_figures
from brakebeat.report.markup import el
from brakebeat.report.motion import Courses
from brakebeat.report.set_charts import brake_strip, drop_off, ratios
from brakebeat.report.tables import rep_table
from brakebeat.store.catalog import load_rig
from brakebeat.store.connection import Store
from brakebeat.store.queries import StoredSet


def set_rig(store: Store, each: StoredSet) -> Rig:
    """The rig with which a set was done."""
    row = store.row("SELECT rig_id FROM work_set WHERE id = ?", (each.id,))
    assert row is not None
    return load_rig(store, row["rig_id"])


def set_section(each: StoredSet, rig: Rig, courses: Courses) -> Element:
    """The set's section."""
    key = f"s{each.session_id}-{each.position}"
    pictures = [
        *curve_figures(each, courses, key),
        brake_strip(each, rig, key),
        drop_off(each, rig, key),
        ratios(each, key),
    ]
    return el(
        "section",
        el("h2", f"Set {each.session_id}.{each.position}: {each.exercise}"),
        el("p", about(each), class_="aside"),
        note_list(each.notes),
        el("p", courses.reason, class_="missing") if courses.reason else None,
        el("div", pictures, class_="figures"),
        rep_table(each),
        id=key,
    )


def about(each: StoredSet) -> str:
    """On what a set was done, when, and who worked the figures out."""
    inertia = "inertia unknown" if each.inertia_kg_m2 is None else f"{each.inertia_kg_m2:g} kg·m²"
    rig = "" if each.rig is None else f"{each.rig}, "
    edges = "raw edges kept" if each.has_edges else "no raw edges kept"
    return f"{rig}{inertia}, at {each.started:%H:%M:%S}; figures by {each.engine} {each.engine_version}, {edges}."


def note_list(notes: tuple[str, ...]) -> Element | None:
    """Notes as they were written."""
    if not notes:
        return None
    return el("ul", [el("li", text) for text in notes], class_="notes", aria_label="Notes")
