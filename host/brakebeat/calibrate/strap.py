"""Drum radius and strap thickness from known lengths of strap pulled out slowly."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.optimize import least_squares

from brakebeat.calibrate.pulls import read_stops
from brakebeat.calibrate.result import Calibration
from brakebeat.calibrate.runs import seconds
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording
from brakebeat.mechanics import strap_travel_m, wound_angle_rad

_LEAST_FOR_THICKNESS = 3
# Stray edges that can be told from the magnets' while a hand pulls; more of them hide one another.
_MOST_EXTRA = 1


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
    rig = recording.rig
    stops = read_stops(seconds(recording.t_us), len(pulled_m), rig.pulses_per_rev, recording.path)
    if stops.extra > _MOST_EXTRA:
        raise InputError(
            f"{recording.path}: {len(pulled_m)} lengths are given, but {len(pulled_m) - 1} pauses do not stand out "
            f"unless {stops.extra} edges belong to no magnet: hold still for three seconds after each pull; if that "
            "was so, mend the sensor first (its distance from the magnets, shielding, a pull-up), then pull again"
        )
    spacing = 2.0 * np.pi / rig.pulses_per_rev
    seen = (stops.place[-1] - stops.place) * spacing
    sigma = stops.sigma * spacing
    lengths = np.array(pulled_m)
    fitted = strap_thickness_m is None and len(lengths) >= _LEAST_FOR_THICKNESS
    radius = float(lengths.sum() / seen[0])

    def misfit(unknown: np.ndarray, growing: bool) -> np.ndarray:
        thickness = unknown[1] * 1e-3 if growing else (strap_thickness_m or 0.0)
        moved = unknown[2:]
        end = float(wound_angle_rad(left_on_drum_m, unknown[0] * radius, max(thickness, 0.0)))
        travel = strap_travel_m(np.maximum(seen + end + moved, 0.0), unknown[0] * radius, thickness)
        own = moved / sigma
        tie = np.zeros(0) if growing else np.array([unknown[1]])
        return np.concatenate([(travel[:-1] - travel[1:] - lengths) / length_sigma_m, own, tie])

    start = np.concatenate([[0.9, 0.5 if fitted else 0.0], np.zeros(len(stops.place))])
    solved = least_squares(misfit, start, args=(fitted,), x_scale="jac", method="trf")
    flags = []
    spread = _spread(solved)
    thickness_sigma = spread[1] if fitted else None
    if fitted and solved.x[1] < 0.0:
        flags.append("negative_thickness")
        fitted = False
        solved = least_squares(misfit, start, args=(False,), x_scale="jac")
        spread = _spread(solved)
    free = len(lengths) - 1 - int(fitted)
    chi2 = 2.0 * float(solved.cost)
    if free > 0 and chi2 > free + 3.0 * np.sqrt(2.0 * free) + 3.0:
        flags.append("lengths_disagree")
        spread = spread * np.sqrt(chi2 / free)
        thickness_sigma = None if thickness_sigma is None else thickness_sigma * np.sqrt(chi2 / free)
    thickness = float(solved.x[1]) * 1e-3 if fitted else (strap_thickness_m or 0.0)
    result = Calibration(
        "strap",
        {"drum_radius_m": float(solved.x[0]) * radius, "strap_thickness_m": thickness},
        {
            "drum_radius_m": float(spread[0]) * radius,
            "strap_thickness_m": None if thickness_sigma is None else float(thickness_sigma) * 1e-3,
        },
        flags,
        details={"turned_rad": (seen[:-1] - seen[1:]).tolist(), "pulled_m": list(pulled_m)},
    )
    if stops.extra > 0:
        # One that was taken for a magnet's would count a whole spacing.
        result.flag("edges_extra")
    if strap_thickness_m is not None:
        result.flag("thickness_assumed")
    elif not fitted and "negative_thickness" not in flags:
        result.flag("thickness_inseparable")
    return result


def _spread(solved: Any) -> np.ndarray:
    """Standard errors of all unknowns of a solution."""
    return np.sqrt(np.clip(np.diag(np.linalg.pinv(solved.jac.T @ solved.jac)), 0.0, None))
