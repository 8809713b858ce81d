"""The report of one session."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from xml.etree.ElementTree import Element

from brakebeat.errors import InputError
from brakebeat.report.dose_section import newest_plan, session_dose
from brakebeat.report.figures import (
    best_of,
    drops,
    known,
    mean_of,
    mean_power_w,
    peak_rad_s,
    timing_of,
    working,
)
from brakebeat.report.force_section import force_section
from brakebeat.report.markup import el
from brakebeat.report.motion import CourseMaker
from brakebeat.report.numbers import UNKNOWN, number, percent
from brakebeat.report.page import Tile, page
from brakebeat.report.set_section import note_list, set_rig, set_section
from brakebeat.report.tables import set_table
from brakebeat.report.trend_section import trend_section
from brakebeat.screen import RPM_PER_RAD_S
from brakebeat.store import queries
from brakebeat.store.catalog import plans
from brakebeat.store.connection import Store
from brakebeat.store.queries import StoredSet
from brakebeat.store.sums import set_sums
from brakebeat.wording import counted


def session_report(
    store: Store,
    session_id: int,
    *,
    weeks: int = 12,
    force_n: float | None = None,
    curves: bool = True,
) -> bytes:
    """One session as an HTML file.

    Args:
        weeks: how far the trend looks back from the session; 0 looks at all.
        force_n: counts reps above it; None takes a share of the best one.
        curves: whether to draw curves from the raw edges, slow where none are kept (``motion.prepare``).

    Raises:
        InputError: there is no such session, or it has no sets.
    """
    row = store.row("SELECT * FROM live_session WHERE id = ?", (session_id,))
    if row is None:
        raise InputError(f"session {session_id}: not in {store.path}; `brakebeat log` lists what is there")
    sets = list(queries.sets(store, session_id=session_id))
    if not sets:
        raise InputError(f"session {session_id}: has no sets, so there is nothing to report")
    started = sets[0].started
    since = started - timedelta(weeks=weeks) if weeks else None
    here = queries.Which(session_id=session_id)
    sums = set_sums(store, here)
    history = [
        each
        for each in set_sums(store, queries.Which(athlete_id=row["athlete_id"], since=since))
        if each.started <= sets[-1].started and each.exercise in {mine.exercise for mine in sets}
    ]
    plan = newest_plan(plans(store, row["athlete_id"]), row["plan_id"])
    athlete, exercises = sets[0].athlete, ", ".join(dict.fromkeys(each.exercise for each in sets))
    return page(
        f"Session {session_id}: {athlete}",
        f"{started:%A, %d %B %Y, %H:%M} · {exercises} · {counted(len(sets), 'set')}",
        tiles(sets),
        note_list(tuple(text for _, text in queries.notes(store, "session", session_id))),
        el("section", el("h2", "Set by set"), set_table(f"Session {session_id}, set by set", sets)),
        detailed(CourseMaker(store, curves), store, sets),
        force_section(store, here, sums, force_n),
        session_dose(sums, plan),
        trend_section(history, "How this session stands in the weeks before it"),
    )


def detailed(maker: CourseMaker, store: Store, sets: Sequence[StoredSet]) -> list[Element]:
    """Each set in full."""
    made: list[Element] = []
    for each in sets:
        made.append(set_section(each, set_rig(store, each), maker.courses(each)))
    return made


def tiles(sets: Sequence[StoredSet]) -> list[Tile]:
    """What a session comes down to."""
    reps = [rep for each in sets for rep in working(each)]
    best, timing = best_of(reps), timing_of(reps)
    peak = max(known(reps, peak_rad_s), default=None)
    last = [falls[-1][1] for each in sets if (falls := drops(working(each), mean_power_w))]
    mean = sum(last) / len(last) if last else None
    return [
        ("Reps that count", str(len(reps)), f"in {counted(len(sets), 'set')}"),
        (
            "Best peak",
            number(peak, 1),
            f"rad/s ({number(None if peak is None else peak * RPM_PER_RAD_S)} rpm)",
        ),
        ("Mean concentric power", number(mean_of(reps, mean_power_w)), "W"),
        ("Best rep", number(mean_power_w(best) if best else None), "W concentric"),
        (
            "Braked inside the window",
            str(timing.inside) if timing.told else UNKNOWN,
            f"of {timing.told} reps told",
        ),
        ("Last rep of a set", percent(mean), "below its best (mean power)"),
    ]
