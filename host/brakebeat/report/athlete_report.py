"""The report of one athlete over some weeks."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from brakebeat.errors import InputError
from brakebeat.report.dose_section import Plan, dose_section, newest_plan
from brakebeat.report.figures import dose_of, greatest_of, sum_of, timing_of_sets
from brakebeat.report.force_section import force_section
from brakebeat.report.markup import Child, el
from brakebeat.report.motion import CourseMaker
from brakebeat.report.numbers import UNKNOWN, number
from brakebeat.report.page import Tile, page
from brakebeat.report.session_report import detailed
from brakebeat.report.set_section import note_list
from brakebeat.report.tables import Column, rep_table, set_table, table
from brakebeat.report.timing_chart import timing_chart
from brakebeat.report.trend_section import trend_section
from brakebeat.screen import RPM_PER_RAD_S
from brakebeat.store import queries
from brakebeat.store.catalog import plans
from brakebeat.store.connection import Store
from brakebeat.store.queries import StoredSet
from brakebeat.store.sums import SetSums, set_sums
from brakebeat.wording import counted

# Rep tables with more rows than that make a page that no phone opens gladly.
_MOST_ROWS = 1000
_MOST_SESSIONS = 366
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
    newest = queries.newest_with_sets(store, athlete_id)
    if newest is None:
        raise InputError(
            f"{store.path}: this athlete has no sets yet, so there is nothing to report; "
            "`brakebeat import FILE --athlete NAME --exercise NAME` adds one"
        )
    since = newest.started - timedelta(weeks=weeks) if weeks else None
    which = queries.Which(athlete_id=athlete_id, since=since)
    sets = set_sums(store, which)
    sessions = _by_session(sets)
    first, last = sets[0].started.date(), sets[-1].started.date()
    newest_id = next(reversed(sessions))
    return page(
        newest.athlete,
        f"{first:%d %B %Y} to {last:%d %B %Y} · {counted(len(sessions), 'session')}, {counted(len(sets), 'set')}",
        _tiles(sets),
        note_list(tuple(text for _, text in queries.notes(store, "athlete", athlete_id))),
        trend_section(sets),
        dose_section(sets, _plan(store, athlete_id, newest.plan_id), first, last),
        _sessions_section(sessions),
        force_section(store, which, sets, force_n),
        el("h2", f"The newest session, {newest_id}", class_="part"),
        detailed(CourseMaker(store, curves), store, list(queries.sets(store, session_id=newest_id))),
        _rep_by_rep(store, sessions),
    )


def _plan(store: Store, athlete_id: int, plan_id: int | None) -> Plan | None:
    """The plan that the newest session follows; where it names none that is there, the newest plan."""
    kept = plans(store, athlete_id)
    return (plan_id and newest_plan(kept, plan_id)) or newest_plan(kept)


def _by_session(sets: Sequence[SetSums]) -> dict[int, list[SetSums]]:
    sessions: dict[int, list[SetSums]] = {}
    for each in sets:
        sessions.setdefault(each.session_id, []).append(each)
    return sessions


def _tiles(sets: Sequence[SetSums]) -> list[Tile]:
    timing, dose = timing_of_sets(sets), dose_of(sets)
    peak = greatest_of(sets, lambda each: each.working.greatest_peak_rad_s)
    return [
        ("Sessions", str(dose.sessions), f"with {counted(dose.sets, 'set')}"),
        ("Reps that count", str(dose.reps), "momentum reps left out"),
        (
            "Best peak",
            number(peak, 1),
            f"rad/s ({number(None if peak is None else peak * RPM_PER_RAD_S)} rpm)",
        ),
        (
            "Best concentric power",
            number(greatest_of(sets, lambda each: each.working.greatest_power_w)),
            "W, mean of a rep",
        ),
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


def _sessions_section(sessions: dict[int, list[SetSums]]) -> Child:
    chart = timing_chart(list(sessions.values()))
    rows = [_row(*each) for each in list(sessions.items())[-_MOST_SESSIONS:]]
    left = len(sessions) - len(rows)
    words = f"{counted(left, 'older session')} more: `brakebeat log --limit 0` lists them, `brakebeat export` has all."
    return el(
        "section",
        el("h2", "Session by session"),
        el("div", chart, class_="figures") if chart is not None else None,
        table("Sessions in this report", _COLUMNS, rows),
        el("p", words, class_="aside") if left else None,
    )


def _row(session: int, sets: Sequence[SetSums]) -> list[Child]:
    timing = timing_of_sets(sets)
    return [
        str(session),
        el("time", f"{sets[0].started:%a %Y-%m-%d}", datetime=f"{sets[0].started:%Y-%m-%d}"),
        ", ".join(dict.fromkeys(each.exercise for each in sets)),
        str(len(sets)),
        str(sum(each.working.reps for each in sets)),
        number(greatest_of(sets, lambda each: each.working.greatest_peak_rad_s), 1),
        number(sum_of(sets, lambda each: each.working.power_w).mean),
        number(sum_of(sets, lambda each: each.working.eccentric_power_w).mean),
        number(sum_of(sets, lambda each: each.working.ratio_peak_power).mean, 2),
        number(sum_of(sets, lambda each: each.working.ratio_mean_power).mean, 2),
        f"{timing.inside} of {timing.told}",
    ]


def _rep_by_rep(store: Store, sessions: dict[int, list[SetSums]]) -> Child:
    shown: list[int] = []
    rows = 0
    for number_, sums in list(sessions.items())[-2::-1]:
        rows += sum(one.all_reps for one in sums)
        if rows > _MOST_ROWS:
            break
        shown.append(number_)
    if not shown:
        return None
    left = len(sessions) - 1 - len(shown)
    more = f" {counted(left, 'older session')}: `brakebeat report NUMBER` has their reps." if left > 0 else ""
    parts = [_session_rep_by_rep(list(queries.sets(store, session_id=number_))) for number_ in shown]
    return el("section", el("h2", "Earlier sessions, rep by rep"), el("p", f"The newest first.{more}"), parts)


def _session_rep_by_rep(sets: Sequence[StoredSet]) -> Child:
    session, day = sets[0].session_id, sets[0].started
    return el(
        "details",
        el("summary", f"Session {session}, {day:%a %d %B %Y}, {counted(len(sets), 'set')}"),
        set_table(f"Session {session}, set by set", sets),
        [(note_list(each.notes), rep_table(each)) for each in sets],
    )
