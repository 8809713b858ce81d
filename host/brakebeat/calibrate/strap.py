"""Drum radius and strap thickness from known lengths of strap pulled out slowly."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import least_squares

from brakebeat.calibrate.pulls import SLOW_RAD_S, Stops, pauses_hidden, read_stops, spun_rad_s
from brakebeat.calibrate.result import Calibration
from brakebeat.calibrate.runs import seconds
from brakebeat.calibrate.tracking import steady
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording
from brakebeat.mechanics import strap_travel_m, wound_angle_rad
from brakebeat.wording import counted

_LEAST_FOR_THICKNESS = 3
# Stray edges that can be told from the magnets' while a hand pulls; more of them hide one another.
_MOST_EXTRA = 1
# What a drum may measure; a rig file holds no smaller and no greater one.
_LEAST_RADIUS_M, _GREATEST_RADIUS_M = 1e-3, 1.0


def calibrate_strap(
    recording: Recording,
    pulled_m: list[float],
    *,
    length_sigma_m: float = 0.001,
    left_on_drum_m: float = 0.0,
    strap_thickness_m: float | None = None,
) -> Calibration:
    """``drum_radius_m`` (strap all the way out) and ``strap_thickness_m`` (growth a turn).

    Args:
        pulled_m: one length after the other, a pause after each; the last one ends with ``left_on_drum_m``
            of strap on the drum, all of it out by default.
        length_sigma_m: standard uncertainty of each length.
        strap_thickness_m: taken as given; None fits it where there are three lengths or more.

    Raises ``InputError`` where the pulls are not found in the recording.
    """
    if not pulled_m or min(pulled_m) <= 0.0:
        raise InputError(
            "--pulled: give the lengths that were pulled out, in m, one after the other, each above 0"
        )
    stops = _stops(recording, len(pulled_m))
    spacing = 2.0 * np.pi / recording.rig.pulses_per_rev
    pulls = _Pulls(
        seen=(stops.place[-1] - stops.place) * spacing,
        sigma=stops.sigma * spacing,
        lengths=np.array(pulled_m),
        length_sigma_m=length_sigma_m,
        left_on_drum_m=left_on_drum_m,
        given_thickness_m=strap_thickness_m or 0.0,
    )
    drum = _fit(pulls, strap_thickness_m is None and len(pulled_m) >= _LEAST_FOR_THICKNESS)
    _refuse_what_is_no_drum(drum, pulls, recording.path)
    result = Calibration(
        "strap",
        {"drum_radius_m": drum.radius_m, "strap_thickness_m": drum.thickness_m},
        {"drum_radius_m": drum.radius_sigma_m, "strap_thickness_m": drum.thickness_sigma_m},
        drum.flags,
        details={"turned_rad": (pulls.seen[:-1] - pulls.seen[1:]).tolist(), "pulled_m": list(pulled_m)},
    )
    if stops.extra > 0:
        # One that was taken for a magnet's would count a whole spacing.
        result.flag("edges_extra")
    t_s = seconds(recording.t_us)
    fastest_rad_s = spun_rad_s(t_s[steady(t_s, dead=0.2)], recording.rig.pulses_per_rev)
    if fastest_rad_s > SLOW_RAD_S:
        result.flag("pulled_fast")
        result.details["pulled_at_rad_s"] = fastest_rad_s
    if strap_thickness_m is not None:
        result.flag("thickness_assumed")
    elif not drum.fitted and "negative_thickness" not in drum.flags:
        result.flag("thickness_inseparable")
    return result


def _stops(recording: Recording, pulls: int) -> Stops:
    """Where the wheel stood before, between and after the pulls."""
    stops = read_stops(seconds(recording.t_us), pulls, recording.rig.pulses_per_rev, recording.path)
    if stops.extra > _MOST_EXTRA:
        raise InputError(
            f"{recording.path}: {counted(pulls, 'length')} given, but {pauses_hidden(pulls)} "
            f"unless {stops.extra} edges belong to no magnet: hold still for three seconds after each pull; if that "
            "was so, mend the sensor first (its distance from the magnets, shielding, a pull-up), then pull again"
        )
    return stops


def _refuse_what_is_no_drum(drum: _Drum, pulls: _Pulls, path: str) -> None:
    """A spun wheel or a set can be taken for pulls, but not without a drum that nobody has."""
    if not _LEAST_RADIUS_M <= drum.radius_m <= _GREATEST_RADIUS_M:
        raise InputError(
            f"{path}: {pulls.lengths.sum():g} m of strap on {pulls.seen[0] / (2.0 * np.pi):.1f} turns would be a drum "
            f"of {drum.radius_m:.2g} m radius: record nothing but the pulls, and give --pulled in m"
        )


@dataclass(frozen=True)
class _Pulls:
    """What was seen and what was said: ``n`` lengths, ``n + 1`` stops."""

    # (n + 1,) from each stop to the last one, and its standard uncertainty, rad
    seen: np.ndarray
    sigma: np.ndarray
    # (n,)
    lengths: np.ndarray
    length_sigma_m: float
    left_on_drum_m: float
    given_thickness_m: float

    @property
    def scale_m(self) -> float:
        """A radius of about the right size."""
        return float(self.lengths.sum() / self.seen[0])

    def misfit(self, unknown: np.ndarray, growing: bool) -> np.ndarray:
        """Residuals in standard uncertainties; ``unknown``: radius in ``scale_m``, thickness in mm, stops' errors."""
        thickness = unknown[1] * 1e-3 if growing else self.given_thickness_m
        radius_m = unknown[0] * self.scale_m
        moved = unknown[2:]
        end = float(wound_angle_rad(self.left_on_drum_m, radius_m, max(thickness, 0.0)))
        travel = strap_travel_m(np.maximum(self.seen + end + moved, 0.0), radius_m, thickness)
        own = moved / self.sigma
        tie = np.zeros(0) if growing else np.array([unknown[1]])
        return np.concatenate([(travel[:-1] - travel[1:] - self.lengths) / self.length_sigma_m, own, tie])


@dataclass(frozen=True)
class _Drum:
    """The drum that fits the pulls best; ``fitted``: the thickness, too, comes from them."""

    radius_m: float
    radius_sigma_m: float
    thickness_m: float
    thickness_sigma_m: float | None
    fitted: bool
    flags: list[str]


def _fit(pulls: _Pulls, fitted: bool) -> _Drum:
    """``fitted``: find the thickness, too; without it where that comes out negative."""
    start = np.concatenate([[0.9, 0.5 if fitted else 0.0], np.zeros(len(pulls.seen))])
    solved = least_squares(pulls.misfit, start, args=(fitted,), x_scale="jac", method="trf")
    flags = []
    spread = _spread(solved)
    thickness_sigma = spread[1] if fitted else None
    if fitted and solved.x[1] < 0.0:
        flags.append("negative_thickness")
        fitted = False
        solved = least_squares(pulls.misfit, start, args=(False,), x_scale="jac")
        spread = _spread(solved)
    free = len(pulls.lengths) - 1 - int(fitted)
    chi2 = 2.0 * float(solved.cost)
    if free > 0 and chi2 > free + 3.0 * np.sqrt(2.0 * free) + 3.0:
        flags.append("lengths_disagree")
        spread = spread * np.sqrt(chi2 / free)
        thickness_sigma = None if thickness_sigma is None else thickness_sigma * np.sqrt(chi2 / free)
    return _Drum(
        radius_m=float(solved.x[0]) * pulls.scale_m,
        radius_sigma_m=float(spread[0]) * pulls.scale_m,
        thickness_m=float(solved.x[1]) * 1e-3 if fitted else pulls.given_thickness_m,
        thickness_sigma_m=None if thickness_sigma is None else float(thickness_sigma) * 1e-3,
        fitted=fitted,
        flags=flags,
    )


def _spread(solved: Any) -> np.ndarray:
    """Standard errors of all unknowns of a solution."""
    return np.sqrt(np.clip(np.diag(np.linalg.pinv(solved.jac.T @ solved.jac)), 0.0, None))
