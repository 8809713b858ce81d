"""A profile for a person and as JSON."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from rich.table import Table

from brakebeat.results import finite
from brakebeat.store.show import console
from brakebeat.training.lines import Comparison, Line
from brakebeat.training.points import LeftOut, SetPoint, by_inertia, inertia_key, left_out_words
from brakebeat.training.profile import Profile, Suggestion
from brakebeat.training.trend import Trend

CAUTION = (
    "Not medical advice. A heavier wheel stores more energy: brake it in time, keep hands and hair clear."
)
_GOALS = {"power": "for power", "strength": "for strength and size"}


def profile_document(
    profile: Profile, left_out: Sequence[LeftOut], trends: Sequence[Trend]
) -> dict[str, Any]:
    """The profile as JSON has it; intervals of 95 %, those of typical errors of 90 %."""
    document = {
        "schema": 1,
        "points": [{**asdict(each), "started": each.started.isoformat()} for each in profile.points],
        "left_out": [asdict(each) for each in left_out],
        "inertias_kg_m2": profile.inertias_kg_m2,
        "mean_acceleration_rad_s2": _line(profile.acceleration),
        "largest_inertia_kg_m2": asdict(profile.largest),
        "peak_velocity_rad_s": _comparison(profile.velocity),
        "concentric_mean_power_w": _comparison(profile.power),
        "greatest_power": asdict(profile.optimum),
        "suggestions": [asdict(each) for each in profile.suggestions],
        "trends": [
            {**asdict(each), "started": [moment.isoformat() for moment in each.started]} for each in trends
        ],
        "warnings": profile.warnings,
        "caution": CAUTION,
    }
    found: dict[str, Any] = finite(document)
    return found


def _line(line: Line) -> dict[str, Any]:
    return {
        "shape": line.shape,
        "intercept": line.intercept,
        "slope": line.slope,
        "slope_interval": list(line.slope_interval),
        "r_squared": line.r_squared,
        "residual_sd": line.residual_sd,
        "degrees": line.degrees,
    }


def _comparison(both: Comparison) -> dict[str, Any]:
    lines = {"linear": _line(both.linear), "logarithmic": _line(both.logarithmic)}
    return {**lines, "better": both.better, "evidence": both.evidence}


def print_profile(
    profile: Profile,
    left_out: Sequence[LeftOut],
    trends: Sequence[Trend],
    goals: Sequence[str],
    *,
    each_set: bool = False,
) -> None:
    """Write the profile to standard output; ``each_set``: with a row a set instead of a row an inertia."""
    out = console()
    out.print(_sets_table(profile) if each_set else _inertias_table(profile))
    line, largest = profile.acceleration, profile.largest
    out.print(
        f"\nMean concentric angular acceleration = {line.intercept:.1f} {line.slope:+.1f}·ln(inertia) rad/s² "
        f"(r² {line.r_squared:.3f})\n"
        f"theoretical largest inertia: {_interval(largest.inertia_kg_m2, largest.low, largest.high)}"
    )
    for name, unit, both in (
        ("peak velocity", "rad/s", profile.velocity),
        ("concentric mean power", "W", profile.power),
    ):
        out.print(_compared(name, unit, both))
    best = profile.optimum
    watts = "" if best.greatest_power_w is None else f", {best.greatest_power_w:.0f} W"
    out.print(f"greatest concentric mean power: {_interval(best.inertia_kg_m2, best.low, best.high)}{watts}")
    out.print()
    for each in profile.suggestions:
        if each.goal in goals:
            out.print(_suggested(each))
    for trend in trends:
        if trend.error is not None and trend.worthwhile is not None:
            out.print(_trended(trend))
    for text in profile.warnings:
        out.print(f"warning: {text}")
    for text in left_out_words(left_out):
        out.print(f"left out: {text}")
    out.print(CAUTION)


_FIGURES = ("mean acc.\nrad/s²", "peak\nrad/s", "con. mean\nW", "late")


def _inertias_table(profile: Profile) -> Table:
    """A row an inertia: means over its sets."""
    table = _table("inertia\nkg·m²", "sets", "reps", *_FIGURES)
    sets = Counter(inertia_key(each.inertia_kg_m2) for each in profile.points)
    for mean in by_inertia(profile.points):
        key = inertia_key(mean.inertia_kg_m2)
        table.add_row(f"{key:g}", str(sets[key]), str(mean.reps), *_figures(mean))
    return table


def _sets_table(profile: Profile) -> Table:
    """A row a set."""
    table = _table("inertia\nkg·m²", "set", "reps", *_FIGURES)
    for each in sorted(profile.points, key=lambda point: point.inertia_kg_m2):
        table.add_row(f"{each.inertia_kg_m2:.3g}", each.where, str(each.reps), *_figures(each))
    return table


def _table(*headings: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in headings:
        table.add_column(heading, justify="right")
    return table


def _figures(point: SetPoint) -> tuple[str, ...]:
    return (
        f"{point.mean_acceleration_rad_s2:.1f}",
        f"{point.peak_velocity_rad_s:.1f}",
        f"{point.mean_power_w:.0f}",
        "-" if point.late_share is None else f"{point.late_share:.0%}",
    )


def _interval(value: float | None, low: float | None, high: float | None) -> str:
    if value is None:
        return "the sets do not tell"
    if low is None and high is None:
        return f"{value:.3g} kg·m² (95 %: open; more inertias close it)"
    ends = ["open" if end is None else f"{end:.3g}" for end in (low, high)]
    return f"{value:.3g} kg·m² (95 %: {ends[0]} to {ends[1]})"


def _compared(name: str, unit: str, both: Comparison) -> str:
    fits = f"r² linear {both.linear.r_squared:.3f}, logarithmic {both.logarithmic.r_squared:.3f}"
    if both.better is None:
        return f"{name} against inertia: {fits}; neither is clearly better"
    line = both.logarithmic if both.better == "logarithmic" else both.linear
    x = "ln(inertia)" if both.better == "logarithmic" else "inertia"
    low, high = line.slope_interval
    times = f"{both.evidence:.0f} times likelier" if both.evidence < 1e6 else "far likelier"
    return (
        f"{name} against inertia: {both.better} is better ({fits}; {times}): "
        f"{line.intercept:.1f} {line.slope:+.1f}·{x} {unit}, slope {low:.1f} to {high:.1f} (95 %)"
    )


def _suggested(each: Suggestion) -> str:
    return (
        f"[bold]{_GOALS[each.goal]}: {each.inertia_kg_m2:g} kg·m²[/bold], {each.reason}.\n"
        f"  {each.sureness}: {each.why_so_sure}"
    )


def _trended(trend: Trend) -> str:
    error, change = trend.error, trend.last_change
    assert error is not None
    assert trend.worthwhile is not None
    assert change is not None
    return (
        f"power at {trend.inertia_kg_m2:g} kg·m² over {len(trend.values)} sessions: typical error "
        f"{error.value:.1f} W (90 %: {error.low:.1f} to {error.high:.1f}), smallest worthwhile change "
        f"{trend.worthwhile:.1f} W (0.3 of it); last session {change.change:+.1f} W: {change.words}"
    )
