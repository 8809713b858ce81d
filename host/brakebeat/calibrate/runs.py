"""Where in a recording the wheel was fastest and ran free, or was driven from rest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.calibrate.tracking import local_median, steady
from brakebeat.errors import InputError

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

# A wheel that gains this part of its speed after having lost some was pushed again. One or two magnets leave
# so few edges that stray ones look like that, too.
_PUSHED_AGAIN, _PUSHED_AGAIN_FEW = 1.12, 1.4
# Parts of the greatest speed above which a wheel is fast, below which slow; from so many times of getting fast on
# it was trained on.
_FAST, _SLOW, _A_SET = 0.7, 0.4, 4


@dataclass(frozen=True)
class Run:
    """Numbers of the edges at rest (or where the recording begins), at the greatest speed and at the end."""

    begin: int
    peak: int
    end: int


def seconds(t_us: NDArray[np.int64]) -> Array:
    """Times in s from the first edge on; exact enough for any recording that fits a double."""
    return (t_us - t_us[0]) * 1e-6


def free_run(t_s: Array, magnets: int, place: str) -> Run:
    """The stretch in which the wheel loses the most energy with no push in between.

    Raises ``InputError`` with ``place`` in front where there are too few edges for one.
    """
    need = 2 * magnets + 8
    if len(t_s) < need:
        raise InputError(
            f"{place}: {len(t_s)} edges are too few ({need} at least): take the strap off, spin the wheel by "
            "hand and record until it stands still"
        )
    kept, speed = coarse_speed(t_s, magnets)
    again = _PUSHED_AGAIN if magnets > 2 else _PUSHED_AGAIN_FEW
    best, gain = (0, len(speed) - 1), -1.0
    top = low = 0
    for at in range(1, len(speed) + 1):
        pushed = at < len(speed) and speed[at] > again * speed[low]
        if pushed or at == len(speed):
            lost = speed[top] ** 2 - speed[low] ** 2
            if lost > gain:
                best, gain = (top, low), float(lost)
            if pushed:
                top = low = at
        if at < len(speed):
            if speed[at] >= speed[top]:
                top = low = at
            elif speed[at] < speed[low]:
                low = at
    top, _ = best
    end = _end_of_fall(speed, top, again)
    begin = _rest_before(kept, speed, t_s, top, magnets)
    return Run(begin, int(kept[top]), int(kept[end]) if end < len(kept) - 1 else len(t_s) - 1)


def refuse_a_set(t_s: Array, magnets: int, path: str, wanted: str) -> None:
    """Raises ``InputError`` that says what is ``wanted`` where the wheel was driven again and again, as in a set."""
    driven = times_driven(coarse_speed(t_s, magnets)[1])
    if driven >= _A_SET:
        raise InputError(f"{path}: the wheel was driven {driven} times, as in a set; {wanted}")


def times_driven(speed: Array) -> int:
    """How often the wheel got fast after it had been slow, or from the first edge on; what lies between is neither."""
    # A few stray edges must not be the fastest.
    top = float(np.quantile(speed, 0.98))
    states = np.where(speed > _FAST * top, 1, np.where(speed < _SLOW * top, -1, 0))
    states = states[states != 0]
    return int((np.diff(np.concatenate([[-1], states])) > 0).sum())


def coarse_speed(t_s: Array, magnets: int) -> tuple[Integers, Array]:
    """Edges without bounces and the speed at each, rad/s, from the median gap over about two turns."""
    width = max(9, 2 * magnets - 1)
    kept = steady(t_s, width=max(9, 2 * magnets + 1))
    gaps = np.diff(t_s[kept])
    if magnets == 3 and len(gaps) > 1:
        # With one of three dead short and long gaps take turns, and a median falls on either.
        gaps = np.append(0.5 * (gaps[1:] + gaps[:-1]), 0.5 * (gaps[-1] + gaps[-2]))
    gaps = local_median(gaps, width)
    speed = 2.0 * np.pi / magnets / gaps
    return kept, np.append(speed, speed[-1])


def _end_of_fall(speed: Array, top: int, again: float) -> int:
    """Where the speed rises again after ``top``; the last edge where it never does."""
    lowest = np.minimum.accumulate(speed[top:])
    rises = np.flatnonzero(speed[top:] > again * lowest)
    if not len(rises):
        return len(speed) - 1
    return top + int(np.argmin(speed[top : top + int(rises[0])]))


def _rest_before(kept: Integers, speed: Array, t_s: Array, top: int, magnets: int) -> int:
    """The last edge before ``top`` that follows a rest of a second or more (no slow turning); else the first."""
    gaps = np.diff(t_s[kept[: top + 1]])
    usual = 2.0 * np.pi / magnets / speed[1 : top + 1]
    rests = np.flatnonzero((gaps > 1.0) & (gaps > 4.0 * usual))
    return int(kept[rests[-1] + 1]) if len(rests) else 0
