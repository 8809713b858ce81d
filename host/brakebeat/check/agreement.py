"""How far two measurements of the same things lie apart: bias and limits of agreement."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Agreement:
    """Differences ``a - b`` of ``n`` pairs, in the figure's unit; ``None`` where ``n`` is too small.

    ``sd`` is the sample standard deviation of the differences (``n - 1``), so it and the limits of
    agreement need two pairs. ``max_rel`` is the greatest ``|a - b| / |b|``; it is ``None`` where some
    ``b`` is 0 and its ``a`` is not, since no ratio says how far off that is.
    """

    n: int
    bias: float | None = None
    sd: float | None = None
    loa_low: float | None = None
    loa_high: float | None = None
    max_abs: float | None = None
    max_rel: float | None = None


def bland_altman(a: Sequence[float], b: Sequence[float], k: float = 1.96) -> Agreement:
    """Bias and limits of agreement ``bias ± k·sd`` of ``a`` against ``b``.

    ``a`` and ``b`` have shape (n,), the same unit and finite values; ``k`` = 1.96 holds 95 % of normally
    distributed differences (the first publication rounds it to 2). Raises ``ValueError`` on unequal lengths
    or values that are not finite. Source: Bland and Altman, Lancet 1986;327(8476):307-310.
    """
    first, second = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    if first.shape != second.shape or first.ndim != 1:
        raise ValueError(f"pairs needed: shapes {first.shape} and {second.shape}")
    if not (np.isfinite(first).all() and np.isfinite(second).all()):
        raise ValueError("every value must be finite")
    n = len(first)
    if n == 0:
        return Agreement(0)
    difference = first - second
    bias = float(difference.mean())
    sd = float(difference.std(ddof=1)) if n > 1 else None
    return Agreement(
        n=n,
        bias=bias,
        sd=sd,
        loa_low=None if sd is None else bias - k * sd,
        loa_high=None if sd is None else bias + k * sd,
        max_abs=float(np.abs(difference).max()),
        max_rel=_max_ratio(difference, second),
    )


def _max_ratio(difference: np.ndarray, reference: np.ndarray) -> float | None:
    off = difference != 0
    if not off.any():
        return 0.0
    with np.errstate(divide="ignore", over="ignore"):
        greatest = float(np.abs(difference[off] / reference[off]).max())
    return greatest if math.isfinite(greatest) else None
