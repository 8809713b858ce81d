"""Years of sessions make a page that opens: pictures have no more marks than can be told apart."""

import re
import sys
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.report import athlete_report
from brakebeat.report.spans import MOST_MARKS, day_words, days_of, in_spans
from brakebeat.store import Store
from brakebeat.store.catalog import named
from tests.report.reading import Page
from tests.report.weeks import FIRST, session
from tests.store.made_up import rep


@given(st.lists(st.dates(date(1990, 1, 1), date(2060, 1, 1)), min_size=1, max_size=300).map(sorted))
def test_nothing_is_lost_and_order_stays(days: list[date]) -> None:
    span, groups = in_spans(days, lambda day: day)
    assert [day for group in groups for day in group] == days
    assert len(groups) <= MOST_MARKS or span == "year"


def test_the_shortest_span_that_is_few_enough() -> None:
    first = date(2026, 1, 5)
    for count, span, groups in ((100, "session", 100), (700, "week", 100), (1826, "month", 61)):
        days = [first + timedelta(days=place) for place in range(count)]
        found, grouped = in_spans(days, lambda day: day)
        assert (found, len(grouped)) == (span, groups)
    assert in_spans([first], lambda day: day, finest="week") == ("week", [[first]])


def test_days_of_a_month_and_a_year() -> None:
    for day, first, last in (
        (date(2028, 2, 29), date(2028, 2, 1), date(2028, 2, 29)),
        (date(2026, 12, 31), date(2026, 12, 1), date(2026, 12, 31)),
        (date(2027, 1, 1), date(2027, 1, 1), date(2027, 1, 31)),
    ):
        assert days_of("month", day) == (first, last)
    assert days_of("year", date(2028, 7, 3)) == (date(2028, 1, 1), date(2028, 12, 31))
    assert days_of("year", date(2027, 7, 3)) == (date(2027, 1, 1), date(2027, 12, 31))
    assert days_of("week", date(2027, 7, 3)) == (date(2027, 7, 3), date(2027, 7, 9))


def test_a_year_stands_where_there_are_several() -> None:
    assert format(FIRST, day_words(FIRST.date(), FIRST.date() + timedelta(days=80))) == "07 Sep"
    assert format(FIRST, day_words(FIRST.date(), FIRST.date() + timedelta(days=400))) == "Sep 2026"


def test_a_long_report_s_pictures(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys.modules["brakebeat.report.athlete_report"], "_MOST_SESSIONS", 140)
    for day in range(150):
        sets = [[rep(index, 400.0 + day % 7 + index) for index in range(2)]]
        session(store, FIRST + timedelta(days=day), sets)
    page = Page(athlete_report(store, named(store, "athlete", "Mara Quill"), weeks=0))
    assert [row[0] for row in page.table("Sessions in this report").rows] == [str(n) for n in range(11, 151)]
    assert "10 older sessions more" in page.text
    marks = [values for _, values in page.tags if (values.get("class") or "").startswith("mark a disc")]
    # Power and speed over 22 weeks or 23, a mark in each key, and those of the newest session's set.
    assert 2 * 22 <= len(marks) < 60
    assert "a week: mean of its sessions" in page.text
    assert "Brake timing from week to week" in page.text


def test_months_of_a_long_report_have_their_own_days(store: Store) -> None:
    # The last session is on a Sunday that begins a month, in a week of the month before.
    days = [*range(0, 755, 7), 755]
    assert f"{FIRST + timedelta(days=days[-1]):%a %d %b}" == "Sun 01 Oct"
    for day in days:
        session(store, FIRST + timedelta(days=day), [[rep(0), rep(1)]])
    page = Page(athlete_report(store, named(store, "athlete", "Mara Quill"), weeks=0))
    told = re.findall(r"month ([A-Z][a-z]+ \d{4}): (\d+) reps done", page.text)
    months = [(FIRST + timedelta(days=day)).strftime("%B %Y") for day in days]
    assert dict(told) == {month: str(2 * months.count(month)) for month in dict.fromkeys(months)}
