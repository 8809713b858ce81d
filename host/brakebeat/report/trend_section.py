"""Figures from session to session, with what they vary by themselves."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from statistics import fmean
from xml.etree.ElementTree import Element

from brakebeat.report.axes import Axis, Frame, axis_around, mark
from brakebeat.report.figure import KeyEntry, figure
from brakebeat.report.markup import Child, el
from brakebeat.report.numbers import UNKNOWN, number, percent, signed
from brakebeat.report.spans import Span, day_words, in_spans
from brakebeat.report.tables import Column, table
from brakebeat.report.words import TREND
from brakebeat.store.sums import SetSums
from brakebeat.training.points import LeftOut, left_out_words, set_points
from brakebeat.training.reliability import ChangeVerdict, judge_change
from brakebeat.training.trend import LEAST_SESSIONS, Figure, Trend, trends
from brakebeat.wording import counted

# figure -> (name, unit, digits)
FIGURES: dict[Figure, tuple[str, str, int]] = {
    "mean_power_w": ("concentric mean power", "W", 0),
    "peak_velocity_rad_s": ("peak angular velocity", "rad/s", 1),
    "mean_acceleration_rad_s2": ("mean concentric angular acceleration", "rad/s²", 1),
}
_COLUMNS = (
    Column("figure", words=True),
    Column("inertia", "kg·m²", "inertia_kg_m2"),
    Column("sessions", "", "sessions"),
    Column("latest", "", "latest"),
    Column("typical error", "90 % interval", "typical_error"),
    Column("typical error", "% of mean", "typical_error_share"),
    Column("smallest worthwhile", "change", "worthwhile"),
    Column("sets alike", "ICC(3,1)", "sets_icc"),
    Column("since the one before", "90 % interval", "last_change", words=True),
    Column("since the first", "90 % interval", "whole_change", words=True),
)


def trend_section(sets: Sequence[SetSums], heading: str = "Trend over the weeks") -> Element:
    """Each exercise's trends; ``sets`` are one athlete's in order of time."""
    exercises: dict[str, list[SetSums]] = {}
    for each in sets:
        exercises.setdefault(each.exercise, []).append(each)
    parts = [_exercise(name, those, f"trend{place}") for place, (name, those) in enumerate(exercises.items())]
    return el("section", el("h2", heading), el("p", TREND, class_="aside"), parts)


def _exercise(exercise: str, sets: Sequence[SetSums], key: str) -> list[Element]:
    points, left_out = set_points(sets)
    found = {figure_: trends(points, figure_) for figure_ in FIGURES}
    parts = [el("h3", exercise)]
    rows = [_row(each) for those in found.values() for each in those]
    if rows:
        pictures = [
            _picture(trend, f"{key}-{number_}")
            for number_, trend in enumerate(trend for those in list(found.values())[:2] for trend in those)
            if len(trend.values) > 2
        ]
        parts.append(el("div", pictures, class_="figures"))
        parts.append(table(f"Trend of {exercise}", _COLUMNS, rows, "trend"))
        if min(len(trend.values) for trend in found["mean_power_w"]) < LEAST_SESSIONS:
            parts.append(
                el(
                    "p",
                    f"Typical error needs {LEAST_SESSIONS} sessions at the same inertia; where there are fewer, "
                    "no verdict is given.",
                )
            )
    if left_out:
        parts.append(el("p", _left_out(left_out), class_="aside"))
    return parts


def _left_out(left_out: Sequence[LeftOut]) -> str:
    return f"Left out, {counted(len(left_out), 'set')}: {'; '.join(left_out_words(left_out))}."


def _row(trend: Trend) -> list[Child]:
    name, unit, digits = FIGURES[trend.figure]
    fine = digits + 1
    error = trend.error
    whole = None
    if error is not None and trend.worthwhile is not None:
        whole = judge_change(trend.values[0], trend.values[-1], error, trend.worthwhile)
    return [
        name,
        f"{trend.inertia_kg_m2:g}",
        str(len(trend.values)),
        f"{number(trend.values[-1], digits)} {unit}",
        UNKNOWN
        if error is None
        else f"{number(error.value, fine)} {unit} ({number(error.low, fine)} to {number(error.high, fine)})",
        UNKNOWN if error is None else percent(error.relative, 1),
        UNKNOWN if trend.worthwhile is None else f"{number(trend.worthwhile, fine)} {unit}",
        number(trend.sets_icc, 2),
        _change(trend.last_change, unit, digits),
        _change(whole, unit, digits),
    ]


def _change(verdict: ChangeVerdict | None, unit: str, digits: int) -> str:
    if verdict is None:
        return UNKNOWN
    interval = f"{signed(verdict.low, digits)} to {signed(verdict.high, digits)}"
    return f"{signed(verdict.change, digits)} {unit} ({interval}): {verdict.words}"


def _picture(trend: Trend, key: str) -> Element:
    name, unit, digits = FIGURES[trend.figure]
    span, marks = _marks(trend)
    # Of one session; a mean of several is surer.
    error = trend.error.value if trend.error and span == "session" else None
    reach = [value + side * (error or 0.0) for _, value in marks for side in (-1, 1)]
    band = None
    if trend.worthwhile is not None:
        band = (trend.values[0] - trend.worthwhile, trend.values[0] + trend.worthwhile)
        reach += band
    y = axis_around(reach, f"{name}, {unit}", from_zero=False)
    days = [_days(moment, trend.started[0]) for moment, _ in marks]
    frame = Frame(_dates_axis([moment for moment, _ in marks], days), y, height=260.0)
    inside: list[Element | None] = []
    if band is not None:
        inside.append(frame.box((frame.x.low, frame.x.high), band, "window"))
    inside.append(frame.line([(day, value) for day, (_, value) in zip(days, marks, strict=True)], "series a"))
    told = []
    for day, (moment, value) in zip(days, marks, strict=True):
        words = f"{moment:%Y-%m-%d}: {number(value, digits)} {unit}"
        told.append(words)
        if error is not None:
            inside.append(frame.line([(day, value - error), (day, value + error)], "whisker"))
        inside.append(mark("disc", frame.px(day), frame.py(value), words, "a", 3.8))
    title = f"{name} from {span} to {span}"
    picture = frame.picture(title, "; ".join(told) + ".", key, *inside)
    words = f"At {trend.inertia_kg_m2:g} kg·m²; the axis does not begin at 0."
    return figure(name[0].upper() + name[1:], picture, words, _entries(span, error, band))


def _marks(trend: Trend) -> tuple[Span, list[tuple[datetime, float]]]:
    """What is marked: sessions, or means of the sessions of longer spans, each at its first session."""
    sessions = list(zip(trend.started, trend.values, strict=True))
    span, groups = in_spans(sessions, lambda session: session[0].date())
    return span, [(group[0][0], fmean(value for _, value in group)) for group in groups]


def _entries(span: Span, error: float | None, band: tuple[float, float] | None) -> list[KeyEntry]:
    what = "a session" if span == "session" else f"a {span}: mean of its sessions"
    entries: list[KeyEntry] = [("mark", "disc a", what)]
    if error is not None:
        entries.append(("line", "whisker", "± typical error"))
    if band is not None:
        entries.append(("band", "window", "± smallest worthwhile change about the first session"))
    return entries


def _days(moment: datetime, first: datetime) -> float:
    return (moment - first).total_seconds() / 86400.0


def _dates_axis(moments: Sequence[datetime], days: Sequence[float]) -> Axis:
    length = max(days[-1], 1.0)
    written = day_words(moments[0].date(), moments[-1].date())
    chosen: list[tuple[float, str]] = []
    for day, moment in zip(days, moments, strict=True):
        if not chosen or day - chosen[-1][0] > length / 5:
            chosen.append((day, format(moment, written)))
    return Axis(-0.05 * length, 1.05 * length, "day of the session", tuple(chosen))
