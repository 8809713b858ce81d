"""A figure's course over sessions: typical error, worthwhile change, how alike a session's sets are."""

from datetime import UTC, datetime, timedelta

import pytest

from brakebeat.training.points import SetPoint
from brakebeat.training.trend import trends

# Shrout and Fleiss, Psychol Bull 1979;86:420-428: six subjects, four raters.
SHROUT_FLEISS = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]


def points(sessions):
    start = datetime(2026, 9, 7, 18, tzinfo=UTC)
    return [
        SetPoint(
            where=f"{number}.{place}",
            started=start + timedelta(days=7 * number, minutes=4 * place),
            session_id=number,
            inertia_kg_m2=0.12,
            reps=6,
            mean_acceleration_rad_s2=90.0,
            peak_velocity_rad_s=75.0,
            mean_power_w=float(value),
            late_share=None,
            peak_stands_in=False,
        )
        for number, sets in enumerate(sessions)
        for place, value in enumerate(sets)
    ]


def test_sets_of_sessions_as_the_published_raters_of_subjects():
    (trend,) = trends(points(SHROUT_FLEISS))
    # ICC(3,1) is .71 there.
    assert trend.sets_icc == pytest.approx(0.71, abs=0.005)


def test_sessions_of_unlike_length_share_what_all_have():
    longer = [[*sets, 99] if number % 2 else sets for number, sets in enumerate(SHROUT_FLEISS)]
    (trend,) = trends(points([*longer, [5]]))
    assert trend.sets_icc == pytest.approx(0.71, abs=0.005)


@pytest.mark.parametrize("sessions", [SHROUT_FLEISS[:3], [[5]] * 6, [[4, 4]] * 6])
def test_too_little_to_tell(sessions):
    (trend,) = trends(points(sessions))
    assert trend.sets_icc is None
