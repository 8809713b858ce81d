"""Where φ = 0 lies: the strap is wound on by about as much at every turnaround, one way round and the other.

With θ_k the angle of turnaround k, alternately on either side, θ_k = zero ± (range + drift·k) + scatter. A
partial rep lies far inside its neighbours; Tukey's weights leave it out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.reference.spline import Array

_TUKEY = 4.7
_LEAST_SCATTER_RAD = 0.05
# A rep's range varies by some percent between reps: the scatter to assume where few turnarounds tell it.
_USUAL_SCATTER = 0.03


@dataclass(frozen=True)
class Zero:
    """φ = 0 in the fit's frame, with its standard deviation; ``assumed`` where one rep only told it."""

    angle_rad: float
    sd_rad: float
    assumed: bool


def find_zero(angle_rad: Array, side: NDArray[np.int64]) -> Zero | None:
    """φ = 0 from turnarounds at ``angle_rad`` (n,) on ``side`` +1 or −1; None unless both sides are there."""
    upper, lower = angle_rad[side > 0], angle_rad[side < 0]
    if not len(upper) or not len(lower):
        return None
    centre = 0.5 * (np.median(upper) + np.median(lower))
    reach = 0.5 * (np.median(upper) - np.median(lower))
    count = np.arange(len(angle_rad), dtype=float) - 0.5 * (len(angle_rad) - 1)
    columns = [np.ones(len(angle_rad)), side.astype(float)]
    if len(angle_rad) >= 6:
        columns.append(side * count)
    design = np.column_stack(columns)
    solution = np.zeros(design.shape[1])
    solution[:2] = centre, reach
    usual = _USUAL_SCATTER * abs(reach) + _LEAST_SCATTER_RAD
    weight = np.ones(len(angle_rad))
    scatter = float(usual)
    for _ in range(30):
        residual = angle_rad - design @ solution
        spread = 1.4826 * float(np.median(np.abs(residual)))
        scatter = float(max(_pooled(spread, usual, len(angle_rad)), _LEAST_SCATTER_RAD))
        weight = np.clip(1.0 - (residual / (_TUKEY * scatter)) ** 2, 0.0, None) ** 2
        if (weight > 0).sum() < design.shape[1] + 1 or not (
            weight[side > 0].any() and weight[side < 0].any()
        ):
            weight = np.maximum(weight, 0.05)
        root = np.sqrt(weight)[:, None]
        updated = np.linalg.lstsq(design * root, angle_rad * root[:, 0], rcond=None)[0]
        if np.allclose(updated, solution, atol=1e-9):
            break
        solution = updated
    normal = design.T @ (design * weight[:, None]) + 1e-9 * np.eye(design.shape[1])
    sd = scatter * float(np.sqrt(np.linalg.inv(normal)[0, 0]))
    return Zero(float(solution[0]), sd, len(angle_rad) < 3)


def _pooled(spread: float, usual: float, count: int) -> float:
    """The scatter as measured, held to the usual one where few turnarounds tell."""
    share = count / (count + 4.0)
    return share * spread + (1.0 - share) * usual
