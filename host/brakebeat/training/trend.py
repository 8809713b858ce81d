"""A figure from session to session, with its typical error and smallest worthwhile change."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np

from brakebeat.training.points import SetPoint, inertia_key
from brakebeat.training.reliability import (
    ChangeVerdict,
    TypicalError,
    icc,
    judge_change,
    typical_error_of_series,
    worthwhile_within,
)

Figure = Literal["mean_power_w", "peak_velocity_rad_s", "mean_acceleration_rad_s2"]
# Below that a typical error says next to nothing.
LEAST_SESSIONS = 4


@dataclass(frozen=True)
class Trend:
    """One figure at one inertia: a mean of each session's sets in order of time.

    ``error``, ``worthwhile`` and ``last_change`` (the last session against the one before) are None with fewer
    than ``LEAST_SESSIONS`` sessions. ``sets_icc``: ICC(3,1) of the sessions' sets, None where fewer sessions have two.
    """

    figure: Figure
    inertia_kg_m2: float
    started: tuple[datetime, ...]
    values: tuple[float, ...]
    error: TypicalError | None
    worthwhile: float | None
    last_change: ChangeVerdict | None
    sets_icc: float | None = None


def trends(points: Sequence[SetPoint], figure: Figure = "mean_power_w") -> list[Trend]:
    """One athlete's trends in one exercise, one for each inertia, the lightest first."""
    by_inertia: dict[float, dict[int, list[SetPoint]]] = {}
    for point in points:
        sessions = by_inertia.setdefault(inertia_key(point.inertia_kg_m2), {})
        sessions.setdefault(point.session_id, []).append(point)
    return [_trend(figure, inertia, sessions) for inertia, sessions in sorted(by_inertia.items())]


def _trend(figure: Figure, inertia: float, sessions: dict[int, list[SetPoint]]) -> Trend:
    ordered = sorted(sessions.values(), key=lambda sets: min(point.started for point in sets))
    started = tuple(min(point.started for point in sets) for sets in ordered)
    values = tuple(float(np.mean([getattr(point, figure) for point in sets])) for sets in ordered)
    if len(values) < LEAST_SESSIONS:
        return Trend(figure, inertia, started, values, None, None, None)
    alike = _sets_icc([[getattr(point, figure) for point in sets] for sets in ordered])
    error = typical_error_of_series(values)
    worthwhile = worthwhile_within(error)
    verdict = judge_change(values[-2], values[-1], error, worthwhile)
    return Trend(figure, inertia, started, values, error, worthwhile, verdict, alike)


def _sets_icc(sessions: Sequence[Sequence[float]]) -> float | None:
    """How far the sessions differ against how a session's sets do: ICC(3,1), Shrout and Fleiss 1979.

    Sessions are its subjects, the first sets of each (as many as all with two or more have) its raters.
    """
    several = [sets for sets in sessions if len(sets) > 1]
    if len(several) < LEAST_SESSIONS:
        return None
    fewest = min(map(len, several))
    found = icc([sets[:fewest] for sets in several]).icc3
    return found if math.isfinite(found) else None
