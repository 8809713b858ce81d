"""Inertia from a mass that hangs on the strap and turns the wheel as it falls: fitted, with its uncertainty."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.calibrate.fall_edges import Fall
from brakebeat.calibrate.fall_given import Given, moved_inputs
from brakebeat.calibrate.fall_model import FallModel
from brakebeat.calibrate.noise import few_edges_factor
from brakebeat.calibrate.spin import separable

Array = NDArray[np.float64]


def friction_known(given: Given, fall: Fall) -> Given:
    """``given`` with the friction that the wheel's running on tells, where it did."""
    if fall.run_out is None:
        return given
    law = separable(fall.run_out, fall.magnets)
    sigma = np.sqrt(np.diag(law.term_covariance)).tolist()
    return dataclasses.replace(
        given, slowing=law.coasting.terms, slowing_sigma=(sigma[0], sigma[1], sigma[2])
    )


def inertia_of_fall(fall: Fall, given: Given) -> tuple[float, float, dict[str, float]]:
    """Inertia in kg·m², its standard uncertainty, and that by source (``edges``, ``drum_radius_m``, …)."""
    fall = _landed(fall, given)
    inertia, _, sigma = _fit(fall, given)
    parts = {"edges": sigma}
    if fall.landing_sigma_s and given.growth_m_per_rad:
        later = dataclasses.replace(fall, landing_s=fall.landing_s + fall.landing_sigma_s)
        parts["landing"] = abs(_fit(later, given, inertia)[0] - inertia)
    for name, step in moved_inputs(given):
        moved = _fit(fall, step, inertia)[0]
        parts[name] = float(np.hypot(parts.get(name, 0.0), moved - inertia))
    return inertia, float(np.sqrt(sum(part**2 for part in parts.values()))), parts


@dataclass(frozen=True)
class Course:
    """A fall as fitted, at each edge, (n,): the angle that evenly spaced magnets tell, what the fit leaves over of it
    once each magnet's own offset is taken out (rad), and whether the edge counted."""

    t_s: Array
    turned_rad: Array
    left_rad: Array
    used: NDArray[np.bool_]


def course_of_fall(fall: Fall, given: Given) -> Course:
    """What ``inertia_of_fall`` fitted, to be looked at."""
    model, params = _solved(_landed(fall, given), given)
    return Course(fall.t_s, model.even, np.negative(model.columns(params)[1]), model.weight > 0.0)


def _landed(fall: Fall, given: Given) -> Fall:
    """``fall`` with the landing where the fitted fall and what came after have the same speed."""
    after = fall.after
    if after is None:
        return fall
    for _ in range(4):
        _, speed, _ = _fit(fall, given)
        curve = np.polyfit(fall.t_s - fall.t_s[-1], 2.0 * np.pi / fall.magnets * fall.place, 2)
        ahead = after.speed_rad_s + after.slowing_rad_s2 * (after.start_s - fall.landing_s)
        move = float((ahead - speed) / (2.0 * curve[0] + after.slowing_rad_s2))
        fall = dataclasses.replace(fall, landing_s=max(fall.landing_s + move, float(fall.t_s[-1])))
        if abs(move) < 1e-5:
            break
    return fall


def _fit(fall: Fall, given: Given, guess: float | None = None) -> tuple[float, float, float]:
    """Inertia, speed at the landing, and the inertia's standard error from the edges' scatter alone."""
    model, params = _solved(fall, given, guess)
    columns, residual = model.columns(params)
    used = model.weight > 0.0
    free = int(used.sum()) - 2 - model.offsets
    scatter = float(np.sqrt((residual[used] ** 2).sum() / max(free, 1)))
    covariance = np.linalg.pinv(columns[used].T @ columns[used]) * scatter**2
    return float(params[0]), float(params[1]), float(np.sqrt(covariance[0, 0])) * few_edges_factor(free)


def _solved(fall: Fall, given: Given, guess: float | None = None) -> tuple[FallModel, Array]:
    """The model with the edges that count, and inertia and speed at the landing."""
    model = FallModel(fall, given)
    params = np.array([model.first_inertia() if guess is None else guess, model.first_speed()])
    # First by the edges that are sure; only then the others are looked at, and must fit.
    for _ in range(4):
        params = _settled(model, params)
        before = model.weight
        model.weigh(model.columns(params)[1])
        if (model.weight == before).all():
            break
    return model, params


def _settled(model: FallModel, params: Array) -> Array:
    """Gauss-Newton with the model's weights as they are."""
    for _ in range(25):
        columns, residual = model.columns(params)
        weight = model.weight
        step = np.linalg.lstsq(columns * weight[:, None], -residual * weight, rcond=None)[0]
        step[0] = np.clip(step[0], -0.5 * params[0], params[0])
        params = params + step
        if abs(step[0]) < 1e-8 * params[0]:
            break
    return params
