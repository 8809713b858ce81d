"""A recording of a hand-spun wheel: found, tracked, fitted. What `magnets`, `friction` and `inertia` build on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.calibrate.runs import Run, free_run, seconds
from brakebeat.calibrate.spin_fit import SpinFit, fit_spin, refit
from brakebeat.calibrate.tracking import Track, track
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording

Array = NDArray[np.float64]

_FEW_TURNS = 5.0
_TOO_FEW_TURNS = 1.5
# A term of friction counts as told apart from this many standard uncertainties on.
_TOLD = 3.0
_SUBSETS = ((0,), (1,), (2,), (0, 1), (0, 2), (1, 2), (0, 1, 2))
_INSEPARABLE = ("torque_inseparable", "viscous_inseparable", "drag_inseparable")


@dataclass(frozen=True)
class Spin:
    """One free run of a recording. ``fit`` has all three friction terms, ``law`` only those told apart."""

    recording: Recording
    magnets: int
    run: Run
    track: Track
    fit: SpinFit
    law: SpinFit
    flags: tuple[str, ...]

    def terms(self) -> tuple[Array, Array]:
        """(a0, a1, a2) and their standard uncertainties (3,): deceleration = a0 + a1·ω + a2·ω².

        A term that is not told apart is 0, give or take what the full fit would allow; leaving it out moves
        the others, and that counts as their uncertainty.
        """
        estimate = np.array(self.law.coasting.terms)
        full = np.array(self.fit.coasting.terms)
        own = np.sqrt(np.diag(self.law.term_covariance))
        every = np.sqrt(np.diag(self.fit.term_covariance))
        kept = np.isin(np.arange(3), self.law.terms)
        moved = np.minimum(np.abs(full - estimate), every)
        return estimate, np.where(kept, np.hypot(own, moved), every)


def read_spin(recording: Recording) -> Spin:
    """Find and fit the free run. Raises ``InputError`` naming the file where there is none."""
    magnets = recording.rig.pulses_per_rev
    t_s = seconds(recording.t_us)
    run = free_run(t_s, magnets, recording.path)
    try:
        found = track(t_s, magnets, run.peak, run.end)
        fit, found = _fit_from_release(t_s, found, magnets)
    except InputError as error:
        raise InputError(f"{recording.path}: {error}") from error
    law = separable(fit, magnets)
    return Spin(recording, magnets, run, found, fit, law, _flags(found, fit))


def _fit_from_release(t_s: Array, found: Track, magnets: int) -> tuple[SpinFit, Track]:
    """Fit, leaving off the beginning while a hand still seems to be at it (a quarter of the run at most)."""
    skip_most = len(found.place) // 4
    skip = 0
    while True:
        place, edge = found.place[skip:], found.edge[skip:]
        if place[-1] - place[0] < _TOO_FEW_TURNS * magnets or len(place) < magnets + 6:
            raise InputError(
                "too few edges of a free run: spin the wheel faster and let it run until it stands still"
            )
        fit = fit_spin(t_s[edge], place, magnets)
        step = max(magnets, 4)
        if fit.widening < 1.5 or skip + step > skip_most:
            break
        skip += step
    return fit, Track(edge, place, found.missed, found.extra, found.whole)


def separable(full: SpinFit, magnets: int) -> SpinFit:
    """The fewest friction terms that explain the run as well as all three do, none of them negative."""
    if _all_told(full):
        return full
    widening = full.widening**2
    best: tuple[float, SpinFit] | None = None
    for terms in _SUBSETS:
        fit = full if len(terms) == 3 else refit(full, magnets, terms)
        values = [fit.coasting.terms[term] for term in terms]
        if min(values) < 0.0:
            continue
        score = fit.chi2 / widening + _TOLD**2 * len(terms)
        if best is None or score < best[0]:
            best = (score, fit)
    return best[1] if best else full


def _all_told(fit: SpinFit) -> bool:
    sigma = np.sqrt(np.diag(fit.term_covariance))
    return bool((np.array(fit.coasting.terms) > _TOLD * sigma).all())


def inseparable(law: SpinFit) -> list[str]:
    """Flags of the terms that are not told apart."""
    return [_INSEPARABLE[term] for term in range(3) if term not in law.terms]


def _flags(found: Track, fit: SpinFit) -> tuple[str, ...]:
    flags = []
    if fit.turns < _FEW_TURNS:
        flags.append("few_turns")
    if np.isnan(fit.offset_rad).any():
        flags.append("magnet_unseen")
    if found.missed:
        flags.append("edges_missed")
    if found.extra or not fit.used.all():
        flags.append("edges_extra")
    if not found.whole:
        flags.append("lost_track")
    if fit.widening > 1.5:
        flags.append("not_free")
    return tuple(flags)
