"""How much a figure varies by itself, and how much of a change matters.

Typical error and smallest worthwhile change as W. G. Hopkins defines them (from memory: typical error is the
standard deviation of an athlete's repeated measurements, that of differences ÷ √2; smallest worthwhile change
is 0.2 of the standard deviation between athletes, or 0.3 of an athlete's own variation from one occasion to
the next). Intraclass correlations after Shrout and Fleiss, Psychol Bull 1979;86:420-428.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brakebeat.errors import InputError

BETWEEN_SHARE = 0.2
WITHIN_SHARE = 0.3


@dataclass(frozen=True)
class TypicalError:
    """Typical error of one measurement, in the figure's own unit, with its 90 % confidence interval.

    ``degrees``: degrees of freedom behind it. ``relative``: as a share of the mean; None where that is 0.
    """

    value: float
    low: float
    high: float
    degrees: float
    relative: float | None


@dataclass(frozen=True)
class Icc:
    """The six intraclass correlations: one rater or the mean of k, models 1 to 3; and the mean squares."""

    icc1: float
    icc2: float
    icc3: float
    icc1k: float
    icc2k: float
    icc3k: float
    between_ms: float
    within_ms: float
    rater_ms: float
    error_ms: float


def icc(ratings: ArrayLike) -> Icc:
    """Intraclass correlations of ``ratings`` (n subjects, k raters or trials), n and k ≥ 2, all finite.

    Raises ``InputError`` for another shape.
    """
    x = _table(ratings)
    n, k = x.shape
    mean = x.mean()
    between = k * float(((x.mean(axis=1) - mean) ** 2).sum()) / (n - 1)
    within = float(((x - x.mean(axis=1, keepdims=True)) ** 2).sum()) / (n * (k - 1))
    rater = n * float(((x.mean(axis=0) - mean) ** 2).sum()) / (k - 1)
    error = _error_mean_square(x)
    return Icc(
        icc1=_share(between - within, between + (k - 1) * within),
        icc2=_share(between - error, between + (k - 1) * error + k * (rater - error) / n),
        icc3=_share(between - error, between + (k - 1) * error),
        icc1k=_share(between - within, between),
        icc2k=_share(between - error, between + (rater - error) / n),
        icc3k=_share(between - error, between),
        between_ms=between,
        within_ms=within,
        rater_ms=rater,
        error_ms=error,
    )


def typical_error_of_trials(trials: ArrayLike) -> TypicalError:
    """Typical error from ``trials`` (n athletes, k repeated trials): what is left beside athlete and trial.

    For two trials that is the standard deviation of the differences ÷ √2. Raises ``InputError``.
    """
    x = _table(trials)
    degrees = (x.shape[0] - 1) * (x.shape[1] - 1)
    return _typical_error(math.sqrt(_error_mean_square(x)), float(degrees), float(x.mean()))


def typical_error_of_series(values: Sequence[float]) -> TypicalError:
    """Typical error of one athlete from the figure on n ≥ 3 occasions, in order of time.

    From the differences of neighbours, so that progress over weeks is not taken for error: √(mean square
    difference ÷ 2). Degrees of freedom 2(n−1)²/(3n−4): neighbouring differences share a value (from the
    variance of the mean square successive difference of independent normal values).

    Raises ``InputError`` for fewer values.
    """
    x = np.asarray(values, dtype=float)
    n = len(x)
    if n < 3 or not np.isfinite(x).all():
        raise InputError(f"typical error: needs the figure on 3 occasions at least, there are {n}")
    value = math.sqrt(float((np.diff(x) ** 2).mean()) / 2.0)
    return _typical_error(value, 2.0 * (n - 1) ** 2 / (3 * n - 4), float(x.mean()))


def worthwhile_between(values: Sequence[float]) -> float:
    """Smallest worthwhile change from one figure each of n ≥ 2 athletes: 0.2 of their standard deviation.

    Raises InputError for fewer than two.
    """
    x = np.asarray(values, dtype=float)
    if len(x) < 2:
        raise InputError(f"smallest worthwhile change: needs 2 athletes at least, there are {len(x)}")
    return BETWEEN_SHARE * float(x.std(ddof=1))


def worthwhile_within(error: TypicalError) -> float:
    """Smallest worthwhile change from an athlete's own variation: 0.3 of it."""
    return WITHIN_SHARE * error.value


@dataclass(frozen=True)
class ChangeVerdict:
    """What a change between two measurements says; ``low`` and ``high`` are its 90 % confidence interval."""

    change: float
    low: float
    high: float
    words: str


def judge_change(before: float, after: float, error: TypicalError, worthwhile: float) -> ChangeVerdict:
    """Whether ``after`` − ``before`` is more than error, and more than the smallest worthwhile change."""
    from scipy.special import stdtrit  # Not scipy.stats, which takes most of a second to load.

    change = after - before
    reach = float(stdtrit(error.degrees, 0.95)) * error.value * math.sqrt(2.0)
    low, high = change - reach, change + reach
    if low > worthwhile or high < -worthwhile:
        words = "a change that matters, beyond error"
    elif low > 0 or high < 0:
        words = "a change beyond error; whether it matters is open"
    elif -worthwhile <= low and high <= worthwhile:
        words = "no change that matters"
    else:
        words = "within error: nothing can be said"
    return ChangeVerdict(change, low, high, words)


def _typical_error(value: float, degrees: float, mean: float) -> TypicalError:
    from scipy.special import chdtri

    # Where chi-squared leaves so much above it.
    low = value * math.sqrt(degrees / float(chdtri(degrees, 0.05)))
    high = value * math.sqrt(degrees / float(chdtri(degrees, 0.95)))
    return TypicalError(value, low, high, degrees, value / abs(mean) if mean else None)


def _table(values: ArrayLike) -> NDArray[np.float64]:
    x = np.asarray(values, dtype=float)
    if x.ndim != 2 or min(x.shape) < 2 or not np.isfinite(x).all():
        raise InputError(f"needs 2 subjects and 2 trials at least and no gaps, got shape {x.shape}")
    return x


def _error_mean_square(x: NDArray[np.float64]) -> float:
    n, k = x.shape
    left = x - x.mean(axis=1, keepdims=True) - x.mean(axis=0, keepdims=True) + x.mean()
    return float((left**2).sum()) / ((n - 1) * (k - 1))


def _share(top: float, bottom: float) -> float:
    return top / bottom if bottom else math.nan
