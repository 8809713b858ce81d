"""What stands in a report is what stands in the store."""

import dataclasses
from datetime import timedelta

import pytest

from brakebeat.report import athlete_report, session_report
from brakebeat.report.figures import drops, mean_power_w, working
from brakebeat.results import PhaseFigures
from brakebeat.store import Store, queries
from brakebeat.store.sums import set_sums
from brakebeat.training.points import set_points
from brakebeat.training.trend import trends
from tests.report.reading import Page
from tests.report.weeks import FIRST, keep_plan, session, six_weeks
from tests.store.made_up import rep

FIGURES = (
    "peak_rad_s",
    "concentric.duration_s",
    "eccentric.duration_s",
    "concentric.mean_power_w",
    "eccentric.mean_power_w",
    "concentric.peak_power_w",
    "eccentric.peak_power_w",
    "concentric.peak_torque_nm",
    "eccentric.peak_torque_nm",
    "concentric.peak_force_n",
    "eccentric.peak_force_n",
    "concentric.energy_j",
    "eccentric.energy_j",
    "ratio_peak_power",
    "ratio_mean_power",
    "brake_fraction",
)


def value_of(stored_rep: object, figure: str) -> float | None:
    for name in figure.split("."):
        stored_rep = getattr(stored_rep, name)
    return stored_rep


def is_rounded(cell: str, value: float | None) -> bool:
    """Whether a cell is the value, rounded to the digits that it shows."""
    if value is None:
        return cell == "–"
    digits = len(cell.partition(".")[2])
    return abs(float(cell.replace("−", "-")) - value) <= 0.5001 * 10.0**-digits


@pytest.mark.parametrize("figure", FIGURES)
def test_each_rep_of_the_session_stands_there(trained: Store, page: Page, figure: str) -> None:
    (each,) = queries.sets(trained, session_id=1)
    cells = page.table("Set 1.1, rep by rep").column(figure)[:-1]  # the last row is the mean
    assert len(cells) == len(each.reps) == 5
    for cell, stored in zip(cells, each.reps, strict=True):
        assert is_rounded(cell, value_of(stored.rep, figure)), (figure, cell)


@pytest.fixture(scope="module")
def page(trained: Store) -> Page:
    return Page(session_report(trained, 1))


def test_words_of_timing_and_momentum(trained: Store, page: Page) -> None:
    (each,) = queries.sets(trained, session_id=1)
    table = page.table("Set 1.1, rep by rep")
    assert table.column("brake_timing")[:-1] == [stored.rep.brake_timing for stored in each.reps]
    assert [row[0] for row in table.rows] == ["(1)", "(2)", "3", "4", "5", "mean"]
    assert "late" in table.column("brake_timing")


def test_the_set_s_mean_leaves_momentum_reps_out(trained: Store, page: Page) -> None:
    (each,) = queries.sets(trained, session_id=1)
    powers = [stored.rep.concentric.mean_power_w for stored in each.reps[2:]]
    mean = sum(powers) / 3
    assert is_rounded(page.table("Set 1.1, rep by rep").column("concentric.mean_power_w")[-1], mean)
    row = page.table("Session 1, set by set")
    assert is_rounded(row.column("mean_power_w")[0], mean)
    assert is_rounded(row.column("best_power_w")[0], max(powers))
    assert row.column("reps") == ["3"]
    energy = sum(stored.rep.concentric.energy_j for stored in each.reps[2:])
    assert is_rounded(row.column("concentric_j")[0], energy)


def test_drop_off_is_against_the_set_s_best(store: Store) -> None:
    session(store, FIRST, [[rep(0, 400.0), rep(1, 500.0), rep(2, 450.0)]])
    (each,) = queries.sets(store)
    assert drops(working(each), mean_power_w) == [(1, pytest.approx(0.2)), (2, 0.0), (3, pytest.approx(0.1))]
    assert Page(session_report(store, 1)).table("Session 1, set by set").column("last_share") == ["90 %"]


@pytest.mark.parametrize(("force_n", "above"), [(699.0, "2 of 2"), (700.0, "0 of 2"), (5000.0, "0 of 2")])
def test_reps_above_a_set_force(store: Store, force_n: float, above: str) -> None:
    # 700 N each; the eccentric force is not known.
    session(store, FIRST, [[rep(0, momentum=True), rep(1), rep(2)]])
    table = Page(session_report(store, 1, force_n=force_n)).table("Share of reps above")
    assert table.column("concentric_above") == [above]
    assert table.column("eccentric_above") == ["–"]
    assert table.column("eccentric_share") == ["–"]


def test_doubtful_and_removed_reps_are_shown_but_not_counted(store: Store) -> None:
    session(store, FIRST, [[rep(0, 400.0), rep(1, 900.0, flags=["gap"]), rep(2, 420.0)]])
    page = Page(session_report(store, 1))
    assert page.table("Session 1, set by set").column("mean_power_w") == ["410"]
    assert page.table("Set 1.1, rep by rep").column("concentric.mean_power_w") == ["400", "900", "420", "410"]
    assert "gap, not in the means" in page.text


def test_what_is_not_known_is_a_dash(store: Store) -> None:
    nothing = PhaseFigures()
    bare = rep(
        0, concentric=nothing, eccentric=nothing, brake_fraction=None, brake_timing=None, brake_onset_us=None
    )
    session(store, FIRST, [[bare, dataclasses.replace(rep(1), concentric=nothing, eccentric=nothing)]])
    page = Page(session_report(store, 1))
    assert page.table("Set 1.1, rep by rep").column("concentric.peak_force_n") == ["–", "–", "–"]
    assert "None" not in page.text
    assert "nan" not in page.text.lower().split()
    assert "No rep's force is known" in page.text


def test_trend_is_the_training_module_s(store: Store) -> None:
    athlete = six_weeks(store)
    table = Page(athlete_report(store, athlete)).table("Trend of squat")
    points, _ = set_points(set_sums(store, queries.Which(athlete_id=athlete)))
    (trend,) = trends(points, "mean_power_w")
    assert trend.error is not None
    assert trend.worthwhile is not None
    row = dict(zip(table.figures, table.rows[0], strict=True))
    assert row["latest"] == f"{trend.values[-1]:.0f} W"
    assert (
        row["typical_error"] == f"{trend.error.value:.1f} W ({trend.error.low:.1f} to {trend.error.high:.1f})"
    )
    assert row["worthwhile"] == f"{trend.worthwhile:.1f} W"
    assert trend.last_change is not None
    assert row["last_change"].endswith(trend.last_change.words)


def test_dose_against_plan(store: Store) -> None:
    athlete = six_weeks(store)
    plan = keep_plan(store, athlete)
    table = Page(athlete_report(store, athlete)).table("Dose, week by week")
    assert table.column("reps") == ["4"] * 6
    assert table.column("sets") == ["2"] * 6
    assert table.column("planned_sets") == [str(each["sets"]) for each in plan["sessions"]]
    wanted = [f"{each['sets'] * 6} to {each['sets'] * 8}" for each in plan["sessions"]]
    assert table.column("planned_reps") == wanted
    day = Page(session_report(store, 1)).table("Dose on 2026-09-07")
    assert day.column("done") == ["2", "4"]


def test_weeks_limit_what_is_shown(store: Store) -> None:
    athlete = six_weeks(store)
    assert len(Page(athlete_report(store, athlete, weeks=2)).table("Sessions in this report").rows) == 3
    assert len(Page(athlete_report(store, athlete, weeks=0)).table("Sessions in this report").rows) == 6


def test_other_athletes_and_deleted_sets_stay_out(store: Store) -> None:
    athlete = six_weeks(store)
    session(store, FIRST + timedelta(days=1), [[rep(0, 999.0)]], athlete="Odo Fenn")
    page = Page(athlete_report(store, athlete))
    assert "999" not in page.text
    assert "Odo Fenn" not in page.text
