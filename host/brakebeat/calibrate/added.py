"""Inertia from two spin-downs, one of them with a known inertia bolted on: the same friction slows both."""

from __future__ import annotations

import math

import numpy as np
from scipy.optimize import least_squares

from brakebeat.calibrate.spin import Spin
from brakebeat.errors import InputError


def inertia_from_added(
    bare: Spin, loaded: Spin, added_kg_m2: float, added_sigma_kg_m2: float = 0.0
) -> tuple[float, float, dict[str, float]]:
    """Inertia of the bare wheel, kg·m², its standard uncertainty, and that by source.

    Friction over inertia is (a0, a1, a2) in the one run and s·(a0, a1, a2) in the other, s = I/(I + added):
    four unknowns for six figures, weighed by their covariances. Assumes that the friction stays the same.
    Raises ``InputError`` where the loaded wheel does not slow down less.
    """
    means = [np.array(spin.fit.coasting.terms) for spin in (bare, loaded)]
    roots = [_whitening(spin.fit.term_covariance) for spin in (bare, loaded)]

    def misfit(unknown: np.ndarray) -> np.ndarray:
        terms, ratio = unknown[:3] * scale, unknown[3]
        return np.concatenate([roots[0] @ (terms - means[0]), roots[1] @ (ratio * terms - means[1])])

    scale = np.maximum(np.abs(means[0]), np.sqrt(np.diag(bare.fit.term_covariance)))
    guess = _ratio_at_middle(bare, loaded)
    solved = least_squares(misfit, np.append(means[0] / scale, guess), x_scale="jac", method="lm")
    ratio = float(solved.x[3])
    spread = np.linalg.pinv(solved.jac.T @ solved.jac)
    # Six figures with four unknowns: two left over to see whether the friction was the same.
    grown = max(1.0, float(np.sqrt(2.0 * solved.cost / 2.0)))
    ratio_sigma = float(np.sqrt(spread[3, 3])) * grown
    if ratio > 1.0 - 2.0 * ratio_sigma:
        raise InputError(
            f"{loaded.recording.path}: the wheel slows down no less with the added inertia than in "
            f"{bare.recording.path}; give the recording without it first, or add more, further out"
        )
    inertia = added_kg_m2 * ratio / (1.0 - ratio)
    parts = {
        "edges": added_kg_m2 * ratio_sigma / (1.0 - ratio) ** 2,
        "added_inertia_kg_m2": inertia * added_sigma_kg_m2 / added_kg_m2,
    }
    return inertia, math.hypot(*parts.values()), parts


def _ratio_at_middle(bare: Spin, loaded: Spin) -> float:
    speed = 0.5 * min(bare.fit.coasting.speed_rad_s, loaded.fit.coasting.speed_rad_s)
    slowing = [float(spin.law.coasting.slowing_rad_s2(speed)) for spin in (loaded, bare)]
    return slowing[0] / slowing[1]


def _whitening(covariance: np.ndarray) -> np.ndarray:
    """W with WᵀW the inverse of ``covariance`` (3, 3), whose entries span many decades."""
    sigma = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(sigma, sigma) + 1e-12 * np.eye(3)
    return np.asarray(np.linalg.inv(np.linalg.cholesky(correlation)) / sigma)
