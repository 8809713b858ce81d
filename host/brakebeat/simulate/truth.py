"""What really happened, by the definitions that every engine answers to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.interpolate import CubicHermiteSpline

from brakebeat.results import BrakeTiming, Rep, split_sets
from brakebeat.simulate.figures import phase_figures
from brakebeat.simulate.motion import Motion, Stretch
from brakebeat.simulate.onset import onset_s
from brakebeat.simulate.ranges import inside
from brakebeat.simulate.wheel import Wheel


@dataclass(frozen=True)
class Settings:
    """The rig's settings that a rep's truth depends on (defaults as the recording format has them)."""

    brake_target: float = 0.25
    brake_tolerance: float = 0.10
    momentum_reps: int = 2
    rest_gap_s: float = 10.0

    def __post_init__(self) -> None:
        inside("brake_target", self.brake_target, 0.0, 1.0)
        inside("brake_tolerance", self.brake_tolerance, 0.0, 0.5)
        inside("momentum_reps", self.momentum_reps, 0, 50)
        inside("rest_gap_s", self.rest_gap_s, 0.0, 3600.0)

    def header(self) -> dict[str, str]:
        """The settings as header keys."""
        return {
            "brake_target": repr(float(self.brake_target)),
            "brake_tolerance": repr(float(self.brake_tolerance)),
            "momentum_reps": str(self.momentum_reps),
            "rest_gap_s": repr(float(self.rest_gap_s)),
        }


@dataclass
class TrueRep:
    """A rep and what only the truth knows of it."""

    rep: Rep
    sense: int
    start_rad: float
    stop_rad: float
    late_us: int | None

    def to_document(self) -> dict[str, Any]:
        """The rep's document with ``sense``, ``start_rad``, ``stop_rad`` (φ at its ends) and ``late_us``."""
        extra = {
            "sense": self.sense,
            "start_rad": self.start_rad,
            "stop_rad": self.stop_rad,
            "late_us": self.late_us,
        }
        return self.rep.to_document() | extra


def true_reps(
    motion: Motion,
    settings: Settings,
    clock_us: Callable[[float], float],
    recorded: tuple[float, float] = (-np.inf, np.inf),
) -> tuple[list[TrueRep], int]:
    """All reps that lie wholly inside ``recorded`` (s), and the number of stretches that are no rep.

    Args:
        clock_us: turns simulated seconds into the recording's clock, µs.
    """
    reps: list[TrueRep] = []
    incomplete = 0
    for pull, back in _pairs(motion):
        if pull.t_s[0] >= recorded[0] and back.kind == "eccentric" and back.t_s[-1] <= recorded[1]:
            reps.append(_true_rep(motion.wheel, pull, back, len(reps), settings, clock_us))
        elif back.t_s[-1] > recorded[0] and pull.t_s[0] < recorded[1]:
            incomplete += 1
    _mark_momentum(reps, settings)
    return reps, incomplete


def _pairs(motion: Motion) -> list[tuple[Stretch, Stretch]]:
    of_reps = [stretch for stretch in motion.stretches if stretch.rep is not None]
    return list(zip(of_reps[0::2], of_reps[1::2], strict=True))


def _true_rep(
    wheel: Wheel,
    pull: Stretch,
    back: Stretch,
    index: int,
    settings: Settings,
    clock_us: Callable[[float], float],
) -> TrueRep:
    def us(t_s: float) -> int:
        return round(clock_us(t_s))

    peak_s, peak_rad_s = _peak(pull)
    range_rad = float(abs(pull.angle_rad[0]))
    rep = Rep(
        index=index,
        momentum=False,
        start_us=us(pull.t_s[0]),
        extension_us=us(pull.t_s[-1]),
        end_us=us(back.t_s[-1]),
        peak_us=us(peak_s),
        peak_rad_s=peak_rad_s,
        concentric_rad=range_rad,
        eccentric_rad=float(abs(back.angle_rad[-1])),
        concentric=phase_figures(wheel, pull.t_s, pull.along_rad, np.abs(pull.speed_rad_s), pull.torque_nm),
        eccentric=phase_figures(wheel, back.t_s, back.along_rad, np.abs(back.speed_rad_s), -back.torque_nm),
    )
    onset = _onset(wheel, back)
    if onset is not None:
        rep.brake_onset_us = us(onset[0])
        rep.brake_fraction = onset[1] / range_rad
    rep.brake_timing = _timing(rep.brake_fraction, settings)
    late_rad = (settings.brake_target + settings.brake_tolerance) * range_rad
    return TrueRep(
        rep, pull.sense, float(pull.angle_rad[0]), float(back.angle_rad[-1]), _passing(back, late_rad, us)
    )


def _peak(pull: Stretch) -> tuple[float, float]:
    """Time and height of the greatest speed: the top of the parabola through the three highest knots."""
    speed = np.abs(pull.speed_rad_s)
    top = int(np.argmax(speed))
    if not 0 < top < len(speed) - 1:
        return float(pull.t_s[top]), float(speed[top])
    near = slice(top - 1, top + 2)
    t = pull.t_s[near] - pull.t_s[top]
    a, b, c = np.polyfit(t, speed[near], 2)
    if a >= 0.0:
        return float(pull.t_s[top]), float(speed[top])
    at = float(np.clip(-b / (2.0 * a), t[0], t[-1]))
    return float(pull.t_s[top]) + at, float(a * at * at + b * at + c)


def _onset(wheel: Wheel, back: Stretch) -> tuple[float, float] | None:
    """Time and angle from φ = 0 of the brake onset; None where braking never beats friction."""
    braking = -back.torque_nm
    top = int(np.argmax(braking))
    if braking[top] <= wheel.friction_nm(float(abs(back.speed_rad_s[top]))):
        return None
    at = onset_s(back.t_s, braking)
    if at is None:
        return None
    angle = CubicHermiteSpline(back.t_s, back.along_rad, np.abs(back.speed_rad_s))
    return at, float(angle(at))


def _timing(fraction: float | None, settings: Settings) -> BrakeTiming:
    if fraction is None:
        return "none"
    if fraction > settings.brake_target + settings.brake_tolerance:
        return "late"
    return "early" if fraction < settings.brake_target - settings.brake_tolerance else "inside"


def _passing(back: Stretch, angle_rad: float, us: Callable[[float], int]) -> int | None:
    """When the eccentric phase passes an angle from φ = 0; None if it stops before."""
    along = back.along_rad
    if angle_rad >= along[-1]:
        return None
    return us(float(np.interp(angle_rad, along, back.t_s)))


def _mark_momentum(reps: list[TrueRep], settings: Settings) -> None:
    for first, last in split_sets([true.rep for true in reps], settings.rest_gap_s):
        for true in reps[first : last + 1]:
            true.rep.momentum = true.rep.index - first < settings.momentum_reps
