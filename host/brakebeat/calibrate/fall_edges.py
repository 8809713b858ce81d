"""The falls of a recording: which edges came while the mass fell, from which magnets, and when it landed."""

from __future__ import annotations

import dataclasses
import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.calibrate.runs import coarse_speed, seconds, times_driven
from brakebeat.calibrate.spin_fit import SpinFit, fit_spin
from brakebeat.calibrate.tracking import track
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording
from brakebeat.wording import counted

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

# A strap that still pulls slows the wheel down at least as hard as it sped it up.
_PULLED = 0.9
_RUN_OUT_TURNS = 2.0
# The mass lands while the wheel turns at least this part of its greatest speed.
_NEAR_TOP = 0.93


@dataclass(frozen=True)
class After:
    """The wheel after the landing: from ``speed_rad_s`` at ``start_s`` on it slows by ``slowing_rad_s2``.

    ``run_out`` fits it where only friction was at work; None where the strap still pulled.
    """

    start_s: float
    speed_rad_s: float
    slowing_rad_s2: float
    run_out: SpinFit | None


@dataclass(frozen=True)
class Fall:
    """The edges of one fall, (n,) times in s and places, until the mass lands at ``landing_s``.

    ``after`` is None where the recording ends with the fall; then the landing is only known to
    ``landing_sigma_s``.
    """

    t_s: Array
    place: Integers
    magnets: int
    landing_s: float
    landing_sigma_s: float
    after: After | None

    @property
    def run_out(self) -> SpinFit | None:
        """The free run after the landing, if there was one."""
        return self.after.run_out if self.after else None


def read_falls(recording: Recording, count: int) -> list[Fall]:
    """The ``count`` falls of a recording in order of time.

    Raises ``InputError`` naming the file where there are fewer.
    """
    magnets = recording.rig.pulses_per_rev
    t_s = seconds(recording.t_us)
    parts = _episodes(t_s, magnets)
    parts = sorted(sorted(parts, key=lambda part: -part[2])[:count])
    if len(parts) < count:
        raise InputError(
            f"{recording.path}: {counted(len(parts), 'run')} of the wheel for {counted(count, 'mass', 'masses')}: "
            "let it come to rest for three "
            "seconds between two falls, or give one recording for each mass"
        )
    falls = []
    for number, (begin, end, _) in enumerate(parts, 1):
        try:
            falls.append(_read_fall(t_s[begin:end], magnets))
        except InputError as error:
            raise InputError(f"{recording.path}: fall {number}: {error}") from error
    return falls


def _episodes(t_s: Array, magnets: int) -> list[tuple[int, int, float]]:
    """(begin, end, greatest speed) of the stretches between rests; short ones are left out."""
    gaps = np.diff(t_s)
    before = np.append(np.inf, gaps[:-1])
    cuts = np.flatnonzero((gaps > 2.0) & (gaps > 3.0 * np.minimum(before, 60.0))) + 1
    bounds = [0, *cuts.tolist(), len(t_s)]
    parts = []
    for begin, end in itertools.pairwise(bounds):
        if end - begin >= 2 * magnets + 8:
            _, speed = coarse_speed(t_s[begin:end], magnets)
            parts.append((begin, end, float(speed.max())))
    return parts


def _read_fall(t_s: Array, magnets: int) -> Fall:
    kept, speed = coarse_speed(t_s, magnets)
    top = _turning_point(t_s[kept], speed, magnets)
    # Later, a strap that winds up again may lift the mass once more; the first fall is the fastest.
    driven = times_driven(speed[: top + 1])
    if driven > 1:
        raise InputError(
            f"the wheel was driven {driven} times before it was fastest, as in a set: let the mass fall once, from rest"
        )
    peak = int(kept[top])
    # The peak is known to about a turn; what lies closer to it is neither fall nor run for sure.
    clear = max(4, magnets + 1)
    rise = _tracked_rise(t_s, magnets, peak)
    count = max(len(rise[0]) - clear, 0)
    if count < max(8, magnets + 4):
        raise InputError(
            "too few edges while the mass falls: let it fall further, or wind the strap on more turns"
        )
    fall = Fall(t_s[rise[0][:count]], rise[1][:count], magnets, 0.0, 0.0, None)
    after = _after(t_s, magnets, peak + clear)
    gap = 2.0 * np.pi / magnets / float(speed.max())
    if after is None:
        return dataclasses.replace(fall, landing_s=float(t_s[-1]) + 0.5 * gap, landing_sigma_s=0.6 * gap)
    return dataclasses.replace(fall, landing_s=_landing_s(fall, after), after=after)


def _turning_point(t_s: Array, speed: Array, magnets: int) -> int:
    """Where the wheel stops speeding up and slows down: the kink of two lines through the speeds about there.

    The greatest speed may lie well before it where friction lets the mass hardly speed the wheel up any more.
    """
    top, wide = int(np.argmax(speed)), 3 * magnets + 6
    if len(t_s) - top < wide // 2:
        return top
    best, sharpest = top, 0.0
    for at in np.flatnonzero(speed > _NEAR_TOP * speed[top]).tolist():
        before, behind = slice(max(at - wide, 0), at + 1), slice(at, at + wide + 1)
        if len(t_s[before]) < wide // 2 or len(t_s[behind]) < wide // 2:
            continue
        rises, falls = (
            float(np.polyfit(t_s[part] - t_s[at], speed[part], 1)[0]) for part in (before, behind)
        )
        if rises > 0.0 and rises - falls > sharpest:
            best, sharpest = at, rises - falls
    return best


def _tracked_rise(t_s: Array, magnets: int, peak: int) -> tuple[Integers, Integers]:
    """Edges from rest up to the peak and their places: tracked backwards, since then the wheel slows down."""
    backwards = (t_s[peak] - t_s[: peak + 1])[::-1]
    found = track(backwards, magnets, 0, peak)
    edge = peak - found.edge[::-1]
    return edge, (found.place[-1] - found.place)[::-1]


def _after(t_s: Array, magnets: int, first: int) -> After | None:
    """What the wheel does from edge ``first`` on; None where the recording ends too soon to tell."""
    if len(t_s) - first < 2 * magnets + 2 or len(t_s) - first < 8:
        return None
    try:
        found = track(t_s, magnets, first, len(t_s) - 1)
    except InputError:
        return None
    near = min(len(found.place), 3 * magnets + 6)
    curve = np.polyfit(
        t_s[found.edge[:near]] - t_s[found.edge[0]], 2.0 * np.pi / magnets * found.place[:near], 2
    )
    begin, slowing = float(t_s[found.edge[0]]), -2.0 * float(curve[0])
    try:
        fit = fit_spin(t_s[found.edge], found.place, magnets)
    except InputError:
        fit = None
    rise = float(curve[1]) / max(float(t_s[first] - t_s[0]), 1e-3)
    if fit is None or slowing > _PULLED * rise or fit.turns < _RUN_OUT_TURNS:
        return After(begin, float(curve[1]), slowing, None)
    speed = fit.coasting.speed_rad_s
    return After(begin, speed, float(fit.coasting.slowing_rad_s2(speed)), fit)


def _landing_s(fall: Fall, after: After) -> float:
    """A first idea of when the fall's speed (a parabola through its last turns) meets that of the run after it."""
    near = slice(-(2 * fall.magnets + 6), None)
    t_s = fall.t_s[near] - fall.t_s[-1]
    curve = np.polyfit(t_s, 2.0 * np.pi / fall.magnets * fall.place[near], 2)
    speed_then = after.speed_rad_s + after.slowing_rad_s2 * (after.start_s - fall.t_s[-1])
    return float(fall.t_s[-1] + (speed_then - curve[1]) / (2.0 * curve[0] + after.slowing_rad_s2))
