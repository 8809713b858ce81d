"""What an athlete does at several inertias, and which inertia suits a goal."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from brakebeat.errors import InputError
from brakebeat.training.lines import Comparison, Line, compare_shapes, fit_line
from brakebeat.training.optimum import Optimum, power_optimum
from brakebeat.training.points import SetPoint, by_inertia, inertia_key

LEAST_INERTIAS = 3
Goal = Literal["power", "strength"]
Sureness = Literal["fairly sure", "rough", "unsure"]
# A set counts as braked under control up to this part of late reps: common practice, no source.
_LATE_ALLOWED = 0.2


@dataclass(frozen=True)
class Crossing:
    """An inertia in kg·m² with its 95 % interval; None is what the data leave open."""

    inertia_kg_m2: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Suggestion:
    """An inertia for a goal: one that was tested, why, and how sure that is."""

    goal: Goal
    inertia_kg_m2: float
    reason: str
    sureness: Sureness
    why_so_sure: str


@dataclass(frozen=True)
class Profile:
    """Everything a profile says. Curves go through a mean an inertia; intervals are of 95 %.

    ``acceleration``: mean concentric angular acceleration against ln(inertia), rad/s². ``largest``: where that
    line reaches zero, the theoretical largest inertia (of all fits the logarithmic one of mean angular
    acceleration had the highest r² in the study PMC8662394). ``velocity``, ``power``: peak angular velocity in
    rad/s and concentric mean power in W against inertia.
    """

    points: list[SetPoint]
    inertias_kg_m2: list[float]
    acceleration: Line
    largest: Crossing
    velocity: Comparison
    power: Comparison
    optimum: Optimum
    suggestions: list[Suggestion]
    warnings: list[str]


def make_profile(points: Sequence[SetPoint]) -> Profile:
    """The profile of one athlete in one exercise.

    Raises ``InputError`` with fewer than three inertias: it says what is there and what is missing.
    """
    means = by_inertia(points)
    inertias = [inertia_key(mean.inertia_kg_m2) for mean in means]
    if len(inertias) < LEAST_INERTIAS:
        raise InputError(_missing(inertias))
    x = np.array([mean.inertia_kg_m2 for mean in means])
    power = np.array([mean.mean_power_w for mean in means])
    acceleration = fit_line("logarithmic", x, np.array([mean.mean_acceleration_rad_s2 for mean in means]))
    optimum = power_optimum(x, power)
    return Profile(
        points=list(points),
        inertias_kg_m2=inertias,
        acceleration=acceleration,
        largest=_largest(acceleration),
        velocity=compare_shapes(x, np.array([mean.peak_velocity_rad_s for mean in means])),
        power=compare_shapes(x, power),
        optimum=optimum,
        suggestions=[_for_power(means, optimum), _for_strength(means)],
        warnings=_warnings(points, inertias, acceleration),
    )


def _missing(inertias: Sequence[float]) -> str:
    have = ", ".join(f"{value:g}" for value in inertias) or "none"
    lacking = LEAST_INERTIAS - len(inertias)
    return (
        f"a profile needs sets at {LEAST_INERTIAS} inertias at least, there are {len(inertias)} "
        f"({have} kg·m²); do a set at {lacking} more, best spread from half to three times of what is there"
    )


def _largest(line: Line) -> Crossing:
    if line.slope >= 0.0:
        return Crossing(None, None, None)
    return Crossing(
        *(None if value is None or abs(value) > 700.0 else math.exp(value) for value in line.zero())
    )


def _for_power(means: Sequence[SetPoint], optimum: Optimum) -> Suggestion:
    best = max(means, key=lambda mean: mean.mean_power_w)
    measured = f"the greatest concentric mean power was measured at it ({best.mean_power_w:.0f} W)"
    at_best = inertia_key(best.inertia_kg_m2)
    if optimum.where in ("lighter", "heavier"):
        more = f"power still rises towards {optimum.where} inertias than were tested: test one"
        return Suggestion(
            "power", at_best, f"{measured}; {more}", "unsure", "the peak is outside the tested range"
        )
    peak = optimum.inertia_kg_m2
    if peak is None or optimum.where == "unknown":
        return Suggestion("power", at_best, measured, "unsure", "the sets show no clear peak; do more sets")
    near = min(
        (inertia_key(m.inertia_kg_m2) for m in means), key=lambda inertia: abs(math.log(inertia / peak))
    )
    reason = f"the nearest to where the fitted power peaks ({peak:.3g} kg·m²)"
    if abs(math.log(near / peak)) > math.log(1.25):
        reason += "; one nearer to it was not tested, try it"
    return Suggestion("power", near, reason, *_sureness(optimum))


def _sureness(optimum: Optimum) -> tuple[Sureness, str]:
    low, high = optimum.low, optimum.high
    if low is None or high is None:
        return "unsure", "the peak's interval is open; more inertias close it"
    words = f"the peak is between {low:.3g} and {high:.3g} kg·m² (95 %)"
    if high / low <= 1.6:
        return "fairly sure", words
    return ("rough", words) if high / low <= 4.0 else ("unsure", words)


def _for_strength(means: Sequence[SetPoint]) -> Suggestion:
    """The heaviest that was braked in time: force and work rise with inertia.

    Mean force and work rise with inertia (Martinez-Aranda and Fernandez-Gonzalo, JSCR 2017;31(6):1653-1661);
    the ratio of peak eccentric to concentric power too (McErlain-Naylor and Beato, J Sports Sci 2021).
    """
    rises = "mean force and work rise with inertia (Martinez-Aranda and Fernandez-Gonzalo 2017)"
    shares = {inertia_key(mean.inertia_kg_m2): mean.late_share for mean in means}
    inertias = list(shares)
    controlled = [inertia for inertia in inertias if (shares[inertia] or 0.0) <= _LATE_ALLOWED]
    chosen = controlled[-1] if controlled else inertias[0]
    share = shares[chosen]
    if share is None:
        return Suggestion(
            "strength",
            chosen,
            f"the heaviest tested; {rises}",
            "unsure",
            "brake timing is not known, so whether it was braked in time is not either",
        )
    if not controlled:
        reason = "the lightest tested: late braking in more than a fifth of the reps at every inertia; learn that first"
        return Suggestion("strength", chosen, reason, "unsure", "no inertia was braked in time")
    heavier = [inertia for inertia in inertias if inertia > chosen]
    reason = f"the heaviest that was braked in time ({share:.0%} of the reps late); {rises}"
    if heavier:
        reason += f"; heavier ones were braked late too often ({', '.join(f'{i:g}' for i in heavier)} kg·m²)"
    return Suggestion("strength", chosen, reason, "rough", "a rule of the trade, not this athlete's response")


def _warnings(points: Sequence[SetPoint], inertias: Sequence[float], acceleration: Line) -> list[str]:
    found = []
    if len(inertias) < 5:
        found.append(f"{len(inertias)} inertias are few: intervals are wide or open; 5 tell more")
    if inertias[-1] / inertias[0] < 3.0:
        found.append("the inertias lie close together; one of three times the lightest tells more")
    if acceleration.slope >= 0.0:
        found.append(
            "acceleration does not fall with inertia, as it must: look for sets with a wrong inertia or little effort"
        )
    days = {point.started.date() for point in points}
    span = (max(days) - min(days)).days
    if span > 28:
        found.append(f"the sets are {span} days apart: training in between is mixed in; --since narrows it")
    if any(point.peak_stands_in for point in points):
        found.append(
            "some reps have only the board's figures: the peak velocity stands in for that at φ = 0 "
            "(it is a little greater); `brakebeat log recompute` gives it where raw edges are kept"
        )
    if _ordered(points):
        found.append(
            "the inertias were done in rising or falling order: fatigue is mixed in; change the order next time"
        )
    return found


def _ordered(points: Sequence[SetPoint]) -> bool:
    if len({point.session_id for point in points}) != 1:
        return False
    done = [point.inertia_kg_m2 for point in sorted(points, key=lambda point: point.started)]
    return done in (sorted(done), sorted(done, reverse=True))
