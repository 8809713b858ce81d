"""The report of one athlete over some weeks."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from brakebeat.errors import InputError
from brakebeat.report.dose_section import Plan, dose_section, newest_plan
from brakebeat.report.figures import dose_of, known, mean_of, mean_power_w, peak_rad_s, timing_of, working
from brakebeat.report.force_section import force_section
from brakebeat.report.markup import Child, el
from brakebeat.report.motion import CourseMaker
from brakebeat.report.numbers import RPM_OF_RAD_S, UNKNOWN, counted, number
from brakebeat.report.page import Tile, page
from brakebeat.report.session_report import detailed
from brakebeat.report.set_section import note_list
from brakebeat.report.tables import Column, rep_table, set_table, table
from brakebeat.report.timing_chart import timing_by_session
from brakebeat.report.trend_section import trend_section
from brakebeat.store import queries
from brakebeat.store.catalog import plans
from brakebeat.store.connection import Store
from brakebeat.store.queries import StoredSet

# Rep tables with more rows than that make a page that no phone opens gladly.
_MOST_ROWS = 2000
_COLUMNS = (
    Column("session"),
    Column("day", words=True),
    Column("exercise", words=True),
    Column("sets", "", "sets"),
    Column("reps", "that count", "reps"),
    Column("best peak", "rad/s", "best_peak_rad_s"),
    Column("con. mean", "W", "mean_power_w"),
    Column("ecc. mean", "W", "ecc_mean_power_w"),
    Column("ecc÷con", "peak W", "ratio_peak_power"),
    Column("ecc÷con", "mean W", "ratio_mean_power"),
    Column("well timed", "of told", "timing"),
)


def athlete_report(
    store: Store,
    athlete_id: int,
    *,
    weeks: int = 12,
    force_n: float | None = None,
    curves: bool = True,
) -> bytes:
    """One athlete's weeks up to the newest session as an HTML file; arguments as ``session_report``.

    Raises:
        InputError: there is no such athlete, or no set of theirs.
    """
    newest = next((each for each in queries.sessions(store, athlete_id=athlete_id) if each.sets), None)
    if newest is None:
        raise InputError(
            f"{store.path}: this athlete has no sets yet, so there is nothing to report; "
            "`brakebeat import FILE --athlete NAME --exercise NAME` adds one"
        )
    since = newest.started - timedelta(weeks=weeks) if weeks else None
    sets = list(queries.sets(store, athlete_id=athlete_id, since=since))
    sessions = _by_session(sets)
    first, last = sets[0].started.date(), sets[-1].started.date()
    newest_sets = sessions[next(reversed(sessions))]
    return page(
        newest.athlete,
        f"{first:%d %B %Y} to {last:%d %B %Y} · {counted(len(sessions), 'session')}, {counted(len(sets), 'set')}",
        _tiles(sets),
        note_list(tuple(text for _, text in queries.notes(store, "athlete", athlete_id))),
        trend_section(sets),
        dose_section(sets, _plan(store, athlete_id, newest.plan_id), first, last),
        _sessions_section(sessions),
        force_section(sets, force_n),
        el("h2", f"The newest session, {newest_sets[0].session_id}", class_="part"),
        detailed(CourseMaker(store, curves), store, newest_sets),
        _rep_by_rep(sessions),
    )


def _plan(store: Store, athlete_id: int, plan_id: int | None) -> Plan | None:
    """The plan that the newest session follows; where it names none that is there, the newest plan."""
    kept = plans(store, athlete_id)
    return (plan_id and newest_plan(kept, plan_id)) or newest_plan(kept)


def _by_session(sets: Sequence[StoredSet]) -> dict[int, list[StoredSet]]:
    sessions: dict[int, list[StoredSet]] = {}
    for each in sets:
        sessions.setdefault(each.session_id, []).append(each)
    return sessions


def _tiles(sets: Sequence[StoredSet]) -> list[Tile]:
    reps = [rep for each in sets for rep in working(each)]
    timing, dose = timing_of(reps), dose_of(sets)
    peak = max(known(reps, peak_rad_s), default=None)
    return [
        ("Sessions", str(dose.sessions), f"with {counted(dose.sets, 'set')}"),
        ("Reps that count", str(dose.reps), "momentum reps left out"),
        (
            "Best peak",
            number(peak, 1),
            f"rad/s ({number(None if peak is None else peak * RPM_OF_RAD_S)} rpm)",
        ),
        ("Best concentric power", number(max(known(reps, mean_power_w), default=None)), "W, mean of a rep"),
        (
            "Braked inside the window",
            str(timing.inside) if timing.told else UNKNOWN,
            f"of {timing.told} reps told",
        ),
        (
            "Work",
            number(dose.concentric_j / 1000, 1),
            f"kJ concentric, {number(dose.eccentric_j / 1000, 1)} kJ eccentric",
        ),
    ]


def _sessions_section(sessions: dict[int, list[StoredSet]]) -> Child:
    chart = timing_by_session(list(sessions.values()))
    return el(
        "section",
        el("h2", "Session by session"),
        el("div", chart, class_="figures") if chart is not None else None,
        table(
            "Sessions in this report", _COLUMNS, [_row(number_, sets) for number_, sets in sessions.items()]
        ),
    )


def _row(session: int, sets: Sequence[StoredSet]) -> list[Child]:
    reps = [rep for each in sets for rep in working(each)]
    timing = timing_of(reps)
    return [
        str(session),
        f"{sets[0].started:%a %Y-%m-%d}",
        ", ".join(dict.fromkeys(each.exercise for each in sets)),
        str(len(sets)),
        str(len(reps)),
        number(max(known(reps, peak_rad_s), default=None), 1),
        number(mean_of(reps, mean_power_w)),
        number(mean_of(reps, lambda rep: rep.rep.eccentric.mean_power_w)),
        number(mean_of(reps, lambda rep: rep.rep.ratio_peak_power), 2),
        number(mean_of(reps, lambda rep: rep.rep.ratio_mean_power), 2),
        f"{timing.inside} of {timing.told}",
    ]


def _rep_by_rep(sessions: dict[int, list[StoredSet]]) -> Child:
    shown: list[tuple[int, list[StoredSet]]] = []
    rows = 0
    for each in list(sessions.items())[-2::-1]:
        rows += sum(len(one.reps) for one in each[1])
        if rows > _MOST_ROWS:
            break
        shown.append(each)
    if not shown:
        return None
    left = len(sessions) - 1 - len(shown)
    more = f" {counted(left, 'older session')}: `brakebeat report NUMBER` has their reps." if left > 0 else ""
    parts = [
        el(
            "details",
            el("summary", f"Session {number_}, {sets[0].started:%a %d %B %Y}, {counted(len(sets), 'set')}"),
            set_table(f"Session {number_}, set by set", sets),
            [(note_list(each.notes), rep_table(each)) for each in sets],
        )
        for number_, sets in shown
    ]
    return el("section", el("h2", "Earlier sessions, rep by rep"), el("p", f"The newest first.{more}"), parts)
