"""A recording of a hand-spun wheel: found, tracked, fitted. What `magnets`, `friction` and `inertia` build on."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.calibrate.runs import Run, free_run, refuse_a_set, seconds
from brakebeat.calibrate.spin_fit import SpinFit, fit_spin, refit
from brakebeat.calibrate.tracking import Track, track
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

_FEW_TURNS = 5.0
_TOO_FEW_TURNS = 1.5
_WANTED = "take the strap off, spin the wheel by hand once, and record until it stands still"
# A term of friction counts as told apart from this many standard uncertainties on.
_TOLD = 3.0
# Edges that scatter by this part of the spacing were counted wrong.
_SLIPPED = 0.1
# From this widening on residuals hang together; the last edges are to blame if the scatter falls to this part
# without them.
_HANGS_TOGETHER, _SPOILT = 1.2, 0.6
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
        moved = np.abs(full - estimate)
        return estimate, np.where(kept, np.hypot(own, moved), every)


def read_spin(recording: Recording) -> Spin:
    """Find and fit the free run. Raises ``InputError`` naming the file where there is none."""
    magnets = recording.rig.pulses_per_rev
    t_s = seconds(recording.t_us)
    run = free_run(t_s, magnets, recording.path)
    refuse_a_set(t_s, magnets, recording.path, _WANTED)
    try:
        found = track(t_s, magnets, run.peak, run.end)
        fit, found = _fit_from_release(t_s, found, magnets)
    except InputError as error:
        raise InputError(f"{recording.path}: {error}") from error
    law = separable(fit, magnets)
    return Spin(recording, magnets, run, found, fit, law, _flags(found, fit))


def _fit_from_release(t_s: Array, found: Track, magnets: int) -> tuple[SpinFit, Track]:
    """Fit, leaving off the beginning while a hand still seems to be at it (a quarter of the run at most)."""
    fit, whole = _without_slipped_end(t_s, *_while_counted(t_s, found, magnets), magnets)
    kept, step = whole, max(magnets, 4)
    for skip in range(step, len(whole.place) // 4, step):
        if fit.widening < 1.5 or not _enough(whole.place[skip:], magnets):
            break
        kept = dataclasses.replace(whole, edge=whole.edge[skip:], place=whole.place[skip:])
        fit = fit_spin(t_s[kept.edge], kept.place, magnets)
    return fit, kept


def _without_slipped_end(t_s: Array, fit: SpinFit, found: Track, magnets: int) -> tuple[SpinFit, Track]:
    """The run without its last edges where those alone spoil the fit.

    Just before the wheel stands gaps grow fastest: there a stray edge is taken for a magnet's, or one is counted a
    place off, and no edge pulls the fit harder than the last.
    """
    if fit.widening < _HANGS_TOGETHER and not fit.swing_rad_s2:
        return fit, found
    for cut in sorted({1, 2, max(magnets // 2, 3), max(magnets, 4)}):
        shorter = dataclasses.replace(found, edge=found.edge[:-cut], place=found.place[:-cut], whole=False)
        if not _enough(shorter.place, magnets):
            break
        trial = fit_spin(t_s[shorter.edge], shorter.place, magnets)
        if _scatter_rad(trial) < _SPOILT * _scatter_rad(fit):
            return trial, shorter
    return fit, found


def _scatter_rad(fit: SpinFit) -> float:
    return float(np.sqrt(np.mean(fit.residual_rad[fit.used] ** 2)))


def _while_counted(t_s: Array, found: Track, magnets: int) -> tuple[SpinFit, Track]:
    """The run without its end where a slip of the count spoils the fit: halved until it fits."""
    kept = found
    while True:
        if not _enough(kept.place, magnets):
            raise InputError(
                "too few edges of a free run: spin the wheel faster and let it run until it stands still"
            )
        fit = fit_spin(t_s[kept.edge], kept.place, magnets)
        if fit.angle_sigma_rad < _SLIPPED * 2.0 * np.pi / magnets and fit.used.mean() > 0.7:
            return fit, kept
        half = (len(kept.place) + 1) // 2
        kept = Track(kept.edge[:half], kept.place[:half], kept.missed, kept.extra, False)


def _enough(place: Integers, magnets: int) -> bool:
    return len(place) >= magnets + 6 and bool(place[-1] - place[0] >= _TOO_FEW_TURNS * magnets)


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
    if fit.swing_rad_s2:
        flags.append("unbalanced")
    if fit.widening > 1.5:
        flags.append("not_free")
    return tuple(flags)
