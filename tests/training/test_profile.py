"""Lines, intervals, the optimum and what is suggested from them."""

import dataclasses
import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.errors import InputError
from brakebeat.training.lines import compare_shapes, fieller, fit_line
from brakebeat.training.optimum import power_optimum
from brakebeat.training.points import LeftOut, SetPoint
from brakebeat.training.profile import make_profile
from brakebeat.training.show_profile import print_profile
from brakebeat.training.trend import trends

INERTIAS = (0.03, 0.06, 0.12, 0.25, 0.4)
BEGIN = datetime(2026, 11, 2, 18, tzinfo=UTC)


def point(inertia: float, power: float, number: int = 0, **changes) -> SetPoint:
    made = SetPoint(
        where=f"1.{number + 1}",
        started=BEGIN + timedelta(minutes=4 * number),
        session_id=1,
        inertia_kg_m2=inertia,
        reps=6,
        mean_acceleration_rad_s2=-50.0 - 75.0 * math.log(inertia),
        peak_velocity_rad_s=20.0 - 27.0 * math.log(inertia),
        mean_power_w=power,
        late_share=0.0,
        peak_stands_in=False,
    )
    return dataclasses.replace(made, **changes)


def parabola(inertia: float, peak: float = 0.07) -> float:
    return 430.0 * math.exp(-0.1 * math.log(inertia / peak) ** 2)


def test_line_by_hand():
    # x̄ = 2.5, ȳ = 4.75, Sxx = 5, Sxy = 8.5; residuals -.2, .1, .4, -.3 of y = 0.5 + 1.7·x.
    line = fit_line("linear", np.array([1.0, 2.0, 3.0, 4.0]), np.array([2.0, 4.0, 6.0, 7.0]))
    assert (line.intercept, line.slope) == pytest.approx((0.5, 1.7))
    assert line.residual_sd == pytest.approx(math.sqrt(0.3 / 2))
    assert line.covariance[1, 1] == pytest.approx(0.15 / 5)
    assert line.covariance[0, 0] == pytest.approx(0.15 * (1 / 4 + 6.25 / 5))
    assert line.r_squared == pytest.approx(1 - 0.3 / 14.75)
    # t for 2 degrees of freedom, 95 %: 4.303 in any table.
    assert line.slope_interval == pytest.approx(
        (1.7 - 4.303 * math.sqrt(0.03), 1.7 + 4.303 * math.sqrt(0.03)), abs=1e-3
    )


@given(st.integers(0, 10_000), st.integers(3, 9))
def test_line_is_numpys(seed, n):
    rng = np.random.default_rng(seed)
    x = np.exp(rng.uniform(-4, 0, n))
    y = rng.normal(0, 1, n)
    line = fit_line("logarithmic", x, y)
    coefficients, covariance = np.polyfit(np.log(x), y, 1), None
    assert (line.slope, line.intercept) == pytest.approx(tuple(coefficients), rel=1e-6, abs=1e-9)
    if n > 4:
        covariance = np.polyfit(np.log(x), y, 1, cov=True)[1][::-1, ::-1]
        assert line.covariance == pytest.approx(covariance, rel=1e-6, abs=1e-12)


def test_theoretical_largest_inertia():
    # a = p + q·ln(I) crosses zero at exp(-p/q), here exp(-50/75).
    profile = make_profile([point(inertia, parabola(inertia), k) for k, inertia in enumerate(INERTIAS)])
    assert profile.largest.inertia_kg_m2 == pytest.approx(math.exp(-50 / 75))
    assert profile.largest.low == pytest.approx(math.exp(-50 / 75), rel=1e-6)
    assert profile.velocity.better == "logarithmic"


def test_better_shape():
    x = np.array(INERTIAS)
    noise = np.array([1.0, -1.5, 1.0, -1.0, 0.5]) * 0.1
    assert compare_shapes(x, 5.0 - 9.0 * x + noise * 0.1).better == "linear"
    assert compare_shapes(x, 5.0 - 2.0 * np.log(x) + noise).better == "logarithmic"
    close = np.array([0.10, 0.11, 0.12, 0.13])
    assert compare_shapes(close, np.array([5.0, 4.7, 4.9, 4.6])).better is None


def test_fieller_against_its_definition():
    top, bottom, a, b, c, t = 2.0, 4.0, 0.04, 0.09, 0.01, 2.1
    for ratio in fieller(top, bottom, a, b, c, t):
        variance = a - 2 * ratio * c + ratio**2 * b
        assert (top - ratio * bottom) ** 2 == pytest.approx(t**2 * variance)
    assert fieller(top, 0.1, a, b, c, t) == (None, None)


def test_optimum_of_an_exact_parabola():
    x = np.array(INERTIAS)
    found = power_optimum(x, np.array([parabola(each) for each in INERTIAS]))
    assert found.inertia_kg_m2 == pytest.approx(0.07)
    assert found.greatest_power_w == pytest.approx(430.0)
    # Even then it is only so sure: true curves are no parabolas.
    assert 0.05 < found.low < 0.07 < found.high < 0.1
    assert found.where == "inside"


@pytest.mark.parametrize(("peak", "where"), [(0.01, "lighter"), (2.0, "heavier")])
def test_optimum_outside_the_tested_range_says_so(peak, where):
    points = [point(inertia, parabola(inertia, peak), k) for k, inertia in enumerate(INERTIAS)]
    profile = make_profile(points)
    assert profile.optimum.where == where
    assert profile.optimum.greatest_power_w is None
    suggestion = profile.suggestions[0]
    assert suggestion.inertia_kg_m2 == (INERTIAS[0] if where == "lighter" else INERTIAS[-1])
    assert where in suggestion.reason
    assert suggestion.sureness == "unsure"


def test_power_that_has_no_peak_points_to_its_better_end():
    found = power_optimum(np.array(INERTIAS), np.array([420.0, 390.0, 370.0, 360.0, 358.0]))
    assert found.inertia_kg_m2 is None
    assert found.where == "lighter"


def test_three_sets_leave_the_interval_open():
    found = power_optimum(np.array(INERTIAS[:3]), np.array([parabola(each) for each in INERTIAS[:3]]))
    assert found.inertia_kg_m2 == pytest.approx(0.07)
    assert (found.low, found.high) == (None, None)


def test_interval_covers_a_true_peak():
    rng = np.random.default_rng(3)
    x = np.array([*INERTIAS, 0.045, 0.09, 0.18])
    covered = 0
    for _ in range(400):
        peak = math.exp(rng.uniform(math.log(0.04), math.log(0.25)))
        power = np.array([parabola(each, peak) for each in x]) * np.exp(rng.normal(0, 0.03, len(x)))
        found = power_optimum(x, power)
        covered += (found.low is None or found.low <= peak) and (found.high is None or peak <= found.high)
    # 95 % wanted; three standard errors of the count are 3.3 %.
    assert covered / 400 >= 0.95 - 0.033


@pytest.mark.parametrize("count", [0, 1, 2])
def test_too_few_inertias_says_what_is_missing(count):
    with pytest.raises(InputError, match=rf"there are {count} .*at {3 - count} more"):
        make_profile([point(inertia, 400.0) for inertia in INERTIAS[:count]])


def test_strength_is_the_heaviest_that_was_braked_in_time():
    late = {0.4: 0.5}
    points = [point(i, parabola(i), k, late_share=late.get(i, 0.1)) for k, i in enumerate(INERTIAS)]
    strength = make_profile(points).suggestions[1]
    assert strength.inertia_kg_m2 == 0.25
    assert "0.4" in strength.reason
    unknown = make_profile([dataclasses.replace(each, late_share=None) for each in points]).suggestions[1]
    assert (unknown.inertia_kg_m2, unknown.sureness) == (0.4, "unsure")
    never = make_profile([dataclasses.replace(each, late_share=0.9) for each in points]).suggestions[1]
    assert never.inertia_kg_m2 == 0.03


def test_warnings_have_reasons():
    rising = make_profile([point(i, parabola(i), k) for k, i in enumerate(INERTIAS[:3])])
    words = " ".join(rising.warnings)
    assert "rising or falling order" in words
    assert "few" in words
    apart = [point(i, parabola(i), k, started=BEGIN + timedelta(days=20 * k)) for k, i in enumerate(INERTIAS)]
    assert any("80 days apart" in text for text in make_profile(apart).warnings)
    wrong = [point(i, 400.0, k, mean_acceleration_rad_s2=100 + 900 * i) for k, i in enumerate(INERTIAS)]
    profile = make_profile(wrong)
    assert profile.largest.inertia_kg_m2 is None
    assert any("wrong inertia" in text for text in profile.warnings)


def test_trends_go_by_inertia_and_session():
    points = [
        point(inertia, 400.0 + 10 * session, session_id=session, started=BEGIN + timedelta(days=session))
        for session in range(5)
        for inertia in (0.12, 0.06, 0.06)
    ]
    light, heavy = trends(points)
    assert (light.inertia_kg_m2, heavy.inertia_kg_m2) == (0.06, 0.12)
    assert light.values == (400.0, 410.0, 420.0, 430.0, 440.0)
    assert light.error.value == pytest.approx(10 / math.sqrt(2))
    assert light.last_change.change == 10.0
    assert trends(points[:9])[0].error is None


def test_more_sets_of_the_same_inertias_are_not_more_inertias():
    points = [point(i, parabola(i) + 5 * k, k) for k in range(4) for i in INERTIAS[:3]]
    found = make_profile(points).optimum
    assert found.inertia_kg_m2 == pytest.approx(0.07, rel=0.1)
    assert (found.low, found.high) == (None, None)
    assert make_profile(points).suggestions[0].sureness == "unsure"


def test_a_row_an_inertia_or_a_row_a_set(capsys):
    points = [point(i, parabola(i), k) for k, i in enumerate((*INERTIAS, 0.12))]
    profile = make_profile(points)
    print_profile(profile, [], [], ["power"])
    rows = [line.split() for line in capsys.readouterr().out.splitlines()[2:7]]
    assert [row[:3] for row in rows] == [
        ["0.03", "1", "6"],
        ["0.06", "1", "6"],
        ["0.12", "2", "12"],
        ["0.25", "1", "6"],
        ["0.4", "1", "6"],
    ]
    print_profile(profile, [], [], ["power"], each_set=True)
    rows = [line.split() for line in capsys.readouterr().out.splitlines()[2:8]]
    assert [row[1] for row in rows] == ["1.1", "1.2", "1.3", "1.6", "1.4", "1.5"]


def test_sets_that_are_left_out_are_named_by_their_reasons(capsys):
    profile = make_profile([point(i, parabola(i), k) for k, i in enumerate(INERTIAS)])
    left = [LeftOut(f"2.{n}", "no power") for n in range(1, 30)] + [LeftOut("3.1", "no inertia")]
    print_profile(profile, left, [], [])
    told = [line for line in capsys.readouterr().out.splitlines() if line.startswith("left out")]
    assert told == [
        "left out: 2.1, 2.2, 2.3, 2.4, 2.5, 2.6 and 23 more: no power",
        "left out: 3.1: no inertia",
    ]
