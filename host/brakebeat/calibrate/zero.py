"""The edge nearest φ = 0: the strap is pulled all the way out, slowly, and held."""

from __future__ import annotations

import numpy as np

from brakebeat.calibrate.pulls import SLOW_RAD_S, overrun, spun_rad_s
from brakebeat.calibrate.result import Calibration
from brakebeat.calibrate.runs import seconds
from brakebeat.calibrate.tracking import steady
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording

_HELD_S = 2.0
# The nearest edge is up to half a spacing off, and it may be its neighbour that is nearest.
_SIGMA_EDGES = 0.37


def calibrate_zero(recording: Recording, held_at_s: float | None = None) -> Calibration:
    """``zero_index``, counted over all edges of the recording from 0, and its standard uncertainty in edges.

    The strap counts as all the way out in the first pause of two seconds or more that follows at least half a
    turn (the recording's end is one); ``held_at_s``, seconds from the first edge, picks another pause.
    Raises ``InputError`` where there is none.
    """
    t_s = seconds(recording.t_us)
    kept = steady(t_s, dead=0.2)
    magnets = recording.rig.pulses_per_rev
    at = _pause(t_s[kept], magnets, held_at_s, recording.path)
    times = t_s[kept]
    beyond = min(overrun(times[max(at - 4, 0) : at + 1]), 1.0)
    if len(times) - at > 4:
        # Left again the same way: the two overruns make one spacing.
        lead = overrun(-times[at + 1 : at + 6][::-1])
        beyond = beyond / (beyond + lead)
    nearest = at + (1 if beyond > 0.5 and at + 1 < len(kept) else 0)
    result = Calibration(
        "zero",
        {"zero_index": int(kept[nearest])},
        {"zero_index": _SIGMA_EDGES},
        details={
            "held_from_s": float(t_s[kept[at]]),
            "beyond_edge_rad": 2.0 * np.pi / magnets * (beyond - (nearest - at)),
        },
    )
    fastest_rad_s = spun_rad_s(times[_begin_of_pull(times, at) : at + 1], magnets)
    if fastest_rad_s > SLOW_RAD_S:
        # One channel does not know the sense: after a rep the strap may be in, as well as out.
        result.flag("pulled_fast")
        result.details["pulled_at_rad_s"] = fastest_rad_s
    return result


def _pause(t_s: np.ndarray, magnets: int, held_at_s: float | None, path: str) -> int:
    """Number of the edge before the pause."""
    if held_at_s is not None:
        at = int(np.searchsorted(t_s, held_at_s)) - 1
        if at < 3:
            raise InputError(
                f"{path}: --at {held_at_s:g}: fewer than four edges come before; give a later time"
            )
        return at
    gaps = np.append(np.diff(t_s), np.inf)
    least = max(4, (magnets + 1) // 2)
    for at in np.flatnonzero(gaps >= _HELD_S).tolist():
        if at + 1 - _begin_of_pull(t_s, at) >= least:
            return int(at)
    raise InputError(
        f"{path}: no pull of half a turn or more that ends in a pause: pull the strap out slowly, all the way, and "
        "hold it for three seconds"
    )


def _begin_of_pull(t_s: np.ndarray, at: int) -> int:
    rests = np.flatnonzero(np.diff(t_s[: at + 1]) >= _HELD_S)
    return int(rests[-1]) + 1 if len(rests) else 0
