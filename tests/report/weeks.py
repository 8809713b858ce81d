"""An invented athlete's weeks in a store, without edges, quick to make."""

from datetime import UTC, date, datetime, timedelta

from brakebeat.results import Rep
from brakebeat.store import Store
from brakebeat.store.catalog import add_plan, named
from brakebeat.store.sessions import add_reps, start_session, start_set
from brakebeat.training.block import BlockSettings
from brakebeat.training.plan import lay_out, plan_document
from tests.store.made_up import RIG, rep

FIRST = datetime(2026, 9, 7, 18, tzinfo=UTC)
POWERS_W = (400.0, 412.0, 405.0, 421.0, 430.0, 428.0)


def session(
    store: Store,
    started: datetime,
    reps: list[list[Rep]],
    *,
    athlete: str = "Mara Quill",
    exercise: str = "squat",
) -> int:
    """A session with a set for each list of reps."""
    with store.writing():
        who, what = named(store, "athlete", athlete), named(store, "exercise", exercise)
        identity = start_session(store, who, started)
        for place, each in enumerate(reps):
            at_ms = int(started.timestamp() * 1000) + 240_000 * place
            add_reps(store, start_set(store, identity, what, RIG, "board", "9.9.9", at_ms), each)
    return identity


def six_weeks(store: Store, athlete: str = "Mara Quill") -> int:
    """Six weeks with a session each of two sets of four reps, two of them momentum reps; the athlete's id."""
    for week, power_w in enumerate(POWERS_W):
        reps = [rep(index, power_w + index, momentum=index < 2) for index in range(4)]
        session(store, FIRST + timedelta(weeks=week), [reps, reps], athlete=athlete)
    return named(store, "athlete", athlete)


def keep_plan(store: Store, athlete_id: int) -> dict[str, object]:
    """A plan of six weeks, one session a week, kept with the athlete."""
    settings = BlockSettings(start=date(2026, 9, 7), weeks=6, per_week=1, sets=(2, 3), reps=(6, 8), days=(0,))
    document = plan_document(lay_out(settings))
    add_plan(store, athlete_id, document)
    return document
