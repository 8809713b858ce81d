"""Fits one free run: friction, offsets of the magnets and the scatter of the edges, all at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.calibrate.coasting import Coasting
from brakebeat.calibrate.noise import few_edges_factor, scatter, wander
from brakebeat.calibrate.spin_model import SpinModel
from brakebeat.errors import InputError

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

_NO_FIT = (
    "the edges do not fit a wheel that slows down: spin it by hand, let it run free until it stands still, and check "
    "pulses_per_rev"
)

ALL_TERMS = (0, 1, 2)
# An edge further off than this many standard deviations is none of the wheel's.
_CUT = 4.5
_ROUNDS = 40
# The cut and the robust scatter take a little of the noise along with what is none.
_LOST_WITH_CUT = 1.06
# An unbalanced wheel's swing is looked for with so many magnets and turns, and believed where it stands out
# by so many standard errors.
_SWING_MAGNETS, _SWING_TURNS, _SWING_CLEAR = 3, 8.0, 6.0
# A part of the sway that the edges have counts as unknown, since its formula is good to first order only.
_SWAY_UNSURE = 0.1


@dataclass(frozen=True)
class SpinFit:
    """A free run as fitted. n edges, m magnets, k friction terms.

    Args:
        coasting: the law, from ``start_s`` on.
        terms: which of a0, a1, a2 were fitted; the others are 0.
        term_covariance: (3, 3), zero for terms that were not fitted; widened where residuals hang
            together (``widening``) and where few edges tell the scatter.
        offset_rad: (m,) by place modulo m, mean zero over the magnets seen; NaN for those unseen.
        offset_sigma_rad: (m,) standard uncertainties.
        chi2: sum of squared residuals in units of ``sigma_rad`` (n,), with the scatter of the full fit.
        used: (n,) edges that were not cut.
        turns: turns of the wheel between the first and the last edge.
        swing_rad_s2: amplitude of the acceleration once a turn of a wheel out of balance; 0 where none shows.
    """

    start_s: float
    t_s: Array
    place: Integers
    coasting: Coasting
    terms: tuple[int, ...]
    term_covariance: Array
    offset_rad: Array
    offset_sigma_rad: Array
    residual_rad: Array
    sigma_rad: Array
    speed_rad_s: Array
    used: NDArray[np.bool_]
    time_sigma_s: float
    angle_sigma_rad: float
    widening: float
    chi2: float
    turns: float
    swing_rad_s2: float
    swing_sigma_rad_s2: float


def fit_spin(t_s: Array, place: Integers, magnets: int, terms: tuple[int, ...] = ALL_TERMS) -> SpinFit:
    """Fit a tracked run (``t_s`` and ``place``, (n,)), with an unbalanced wheel's swing where there is one.

    Raises ``InputError`` where the edges tell no deceleration.
    """
    solver = _Solver(t_s, place, magnets, terms)
    solver.solve()
    plain = solver.result()
    if magnets < _SWING_MAGNETS or plain.turns < _SWING_TURNS:
        return plain
    swinging = _Solver(t_s, place, magnets, terms, swings=True)
    swinging.params[: len(solver.params)] = solver.params
    swinging.sigma = np.maximum(solver.sigma, 1e-3)
    swinging.solve()
    found = swinging.result()
    clear = found.swing_rad_s2 > _SWING_CLEAR * found.swing_sigma_rad_s2
    return found if clear else plain


def refit(full: SpinFit, magnets: int, terms: tuple[int, ...]) -> SpinFit:
    """The same run with fewer friction terms, edges weighed as the full fit weighs them."""
    solver = _Solver(full.t_s, full.place, magnets, terms, swings=full.swing_rad_s2 > 0.0)
    solver.used, solver.sigma = full.used, full.sigma_rad
    solver.noise = (full.time_sigma_s, full.angle_sigma_rad)
    solver.iterate()
    return solver.result()


class _Solver(SpinModel):
    """Gauss-Newton on the first speed and the friction terms; offsets are linear and come along."""

    def solve(self) -> None:
        """Fit, estimate the scatter, cut what is too far off, and again until nothing changes.

        Raises InputError where too few edges are left to fit.
        """
        for turn in range(8):
            self.iterate()
            if self.used.sum() < len(self.params) + 4:
                raise InputError(_NO_FIT)
            residual, speed = self.residual(self.params)
            before = self.used.copy()
            free = max(1.0 - (len(self.params) + (self.seen > 0).sum()) / max(self.used.sum(), 1), 0.05)
            self.noise = scatter(residual[self.used], speed[self.used], free)
            self.sigma = np.hypot(self.noise[0] * speed, self.noise[1])
            reach = _CUT if turn > 1 else 3.0 * _CUT
            self.used = (
                self.steady(speed) & (np.abs(residual) < reach * self.sigma) & self.often(residual, reach)
            )
            if turn > 2 and (self.used == before).all():
                break
        self.iterate()

    def iterate(self) -> None:
        damping = 0.0
        cost = self._cost(self.params)
        for _ in range(_ROUNDS):
            columns, residual = self._jacobian()
            scale = np.sqrt((columns**2).sum(axis=0)) + 1e-300
            scaled = columns / scale
            normal = scaled.T @ scaled + (damping + 1e-14) * np.eye(len(scale))
            step = -np.linalg.solve(normal, scaled.T @ residual) / scale
            trial = self.params + step
            new = self._cost(trial)
            if new <= cost:
                done = cost - new < 1e-7 * max(cost, 1.0) and damping < 1e-3
                self.params, cost, damping = trial, new, damping / 10.0 if damping > 1e-9 else 0.0
                if done:
                    return
            else:
                damping = max(10.0 * damping, 1e-6)
                if damping > 1e6:
                    return

    def _cost(self, params: Array) -> float:
        try:
            residual, _ = self.residual(params)
        except ValueError:
            return np.inf
        return float(((residual / self.sigma)[self.used] ** 2).sum())

    def _jacobian(self) -> tuple[Array, Array]:
        """Weighted derivatives (used, k + 1) by the parameters, and weighted residuals."""
        excess, _ = self.excess(self.params)
        columns = [self.without_offsets(column) for column in self.plain_columns()]
        weight = 1.0 / self.sigma[self.used]
        residual = self.without_offsets(excess)[self.used] * weight
        return np.stack(columns, axis=1)[self.used] * weight[:, None], residual

    def result(self) -> SpinFit:
        coasting = self.coasting(self.params)
        excess, speed = self.excess(self.params)
        residual = self.without_offsets(excess)
        weighted = residual[self.used] / self.sigma[self.used]
        widening = wander(weighted, max(self.magnets, 2))
        if not self.used.any():
            raise InputError(_NO_FIT)
        offsets, offset_sigma, terms, swing_sigma = self._solution(excess)
        if self.swings:
            weight = self.used / self.sigma**2 / np.maximum(speed, 1e-3 * self.params[0]) ** 2
            sway = np.hypot(*self.params[-2:]) * weight.sum() / (self.used / self.sigma**2).sum()
            offset_sigma, terms = np.hypot(offset_sigma, _SWAY_UNSURE * sway), 9.0 * terms
        free = len(weighted) - len(self.params) - int((self.seen > 0).sum())
        wider = widening * _LOST_WITH_CUT * few_edges_factor(free)
        return SpinFit(
            start_s=float(self.t_s[0]),
            t_s=self.t_s,
            place=self.place,
            coasting=coasting,
            terms=self.terms,
            term_covariance=terms * wider**2,
            offset_rad=offsets,
            offset_sigma_rad=offset_sigma * wider,
            residual_rad=residual,
            sigma_rad=self.sigma,
            speed_rad_s=speed,
            used=self.used,
            time_sigma_s=self.noise[0],
            angle_sigma_rad=self.noise[1],
            widening=widening,
            chi2=float((weighted**2).sum()),
            turns=float(self.even[-1] - self.even[0]) / (2.0 * np.pi),
            swing_rad_s2=float(np.hypot(*self.params[-2:])) if self.swings else 0.0,
            swing_sigma_rad_s2=swing_sigma * wider,
        )

    def _solution(self, excess_rad: Array) -> tuple[Array, Array, Array, float]:
        """Offsets, their errors, the terms' covariance, the swing's error: from the whole normal matrix."""
        columns, _ = self._jacobian()
        covariance = _inverse(columns.T @ columns)
        weight = self.used / self.sigma**2
        total = np.bincount(self.magnet, weight, self.magnets)
        known = total > 0.0
        raw = np.where(
            known,
            np.bincount(self.magnet, weight * excess_rad, self.magnets) / np.maximum(total, 1e-300),
            np.nan,
        )
        # Means by magnet of the parameters' columns carry the parameters' errors over to the offsets.
        carried = np.stack([self.means(column) for column in self.plain_columns()], axis=1)
        own = np.diag(np.where(known, 1.0 / np.maximum(total, 1e-300), 0.0))
        whole = own + carried @ covariance @ carried.T
        centre = np.eye(self.magnets) - known[None, :] / max(known.sum(), 1)
        spread = np.sqrt(np.clip(np.diag(centre @ whole @ centre.T), 0.0, None))
        terms = np.zeros((3, 3))
        index = np.array(self.terms)
        terms[np.ix_(index, index)] = covariance[1 : 1 + len(index), 1 : 1 + len(index)]
        swing = float(np.sqrt(max(covariance[-1, -1], covariance[-2, -2]))) if self.swings else 0.0
        return raw - np.nanmean(raw), np.where(known, spread, np.nan), terms, swing


def _inverse(matrix: Array) -> Array:
    """Inverse of a covariance's normal matrix, scaled first: its entries span many decades.

    What the edges say nothing of (a row of zeros) stays zero. Raises ``InputError`` where the fit ran away.
    """
    if not np.isfinite(matrix).all():
        raise InputError(_NO_FIT)
    scale = np.sqrt(np.diag(matrix))
    scale = np.where(scale > 0.0, scale, 1.0)
    return np.asarray(np.linalg.pinv(matrix / np.outer(scale, scale), rcond=1e-13) / np.outer(scale, scale))
