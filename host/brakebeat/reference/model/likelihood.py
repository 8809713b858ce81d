"""How likely it is that one edge follows another: the physics of the wheel and the faults of a sensor, in numbers.

All costs are minus the logarithm of a probability density in 1/s, so that explanations which make different
edges real can be weighed against one another. Along the turning the wheel does only two things: pulled, it
speeds up (or coasts); braked, it slows down (or coasts). Only a turnaround leads from braked back to pulled.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Phases of the hidden state.
PULLED, BRAKED = 0, 1
# Chance of a magnet passing unseen, of an edge that bounces, edges from nowhere per second: the order that
# cheap hall boards show; decisions hang on the logarithm only.
MISS_CHANCE = 0.01
BOUNCE_CHANCE = 0.05
SPURIOUS_PER_S = 0.3
# A magnet's reach: a wheel that turns within it of the edge's place can give one edge for two passes.
REACH_RAD = 0.06
# A wheel that turns right at an edge passes it at about this speed.
LEAST_SPEED_RAD_S = 0.3
PHASE_CHANGE_COST = 3.5
LAWLESS_COST = 12.0
# A path that starts with the wheel already turning.
IN_MOTION_COST = 8.0
# How much the acceleration changes from one gap to the next, as a part of the usual one.
ACCEL_CHANGE = 0.35
STUDENT_DOF = 3.0
# A pull may be so much weaker at first (logarithm of the acceleration) before it is an odd one.
_CREEP = 1.2
_STUDENT_NORM = math.log(
    math.gamma((STUDENT_DOF + 1) / 2) / math.gamma(STUDENT_DOF / 2) / math.sqrt(STUDENT_DOF * math.pi)
)


@dataclass(frozen=True)
class Scales:
    """What the costs are measured with.

    Args:
        spacing_rad: angle between neighbouring magnets.
        accel_rad_s2: the size of acceleration that is usual in this recording.
        speed_noise: standard deviation of an interval's speed, as a fraction (placement, jitter).
    """

    spacing_rad: float
    accel_rad_s2: float
    speed_noise: float


@dataclass(frozen=True)
class Faults:
    """How often a sensor errs: chance of a magnet passing unseen, of an edge that bounces, stray edges a second."""

    miss_chance: float = MISS_CHANCE
    bounce_chance: float = BOUNCE_CHANCE
    spurious_per_s: float = SPURIOUS_PER_S

    def extra_cost(self, age_s: Array) -> Array:
        """Cost of calling an edge no passage at all, ``age_s`` after the last real one: bounce or spurious."""
        settling = 0.8 / 0.002 * np.exp(-age_s / 0.002) + 0.2 / 0.01 * np.exp(-age_s / 0.01)
        return -np.log(self.bounce_chance * settling + self.spurious_per_s)

    def missed_cost(self, strides: Array) -> Array:
        """Cost of a stride over ``strides`` magnets, all but the last of them unseen."""
        return -(strides - 1.0) * math.log(self.miss_chance)


@dataclass(frozen=True)
class Glide:
    """From one gap to the next: cost while pulled and while braked, and what was learnt of the acceleration: from
    what was thought before, ``gain`` of the way to what the two gaps show."""

    pulled: Array
    braked: Array
    accel_rad_s2: Array
    gain: Array


def glide_costs(
    scales: Scales, old: Array, new: Array, accel: Array, between_s: Array, gap_s: Array
) -> Glide:
    """Cost of the speed going from ``old`` to ``new`` when the acceleration so far was ``accel``.

    Args:
        old, new: mean speeds of two neighbouring gaps, rad/s (arrays that broadcast).
        between_s: time between the gaps' middles.
        gap_s: the new gap; its speed's density is turned into one of time by |dv/dt| = v/gap.

    The acceleration carries over, give or take a part of the usual one. Against the phase's sign the speed may
    only stray by noise and friction.
    """
    noise = scales.speed_noise * np.minimum(old, new) + 1e-9
    change = new - old
    carried = ACCEL_CHANGE * scales.accel_rad_s2 * between_s
    variance = carried * carried + noise * noise
    scale = np.sqrt(variance)
    fitting = _student((change - accel * between_s) / scale) + (np.log(scale * gap_s / new) - _STUDENT_NORM)
    against = _student(change / (noise + 0.05 * scales.accel_rad_s2 * between_s))
    gain = carried * carried / variance
    return Glide(
        fitting + np.where(change < 0.0, against, 0.0),
        fitting + np.where(change > 0.0, against, 0.0),
        accel + gain * (change / between_s - accel),
        gain,
    )


def _student(z: Array) -> Array:
    """Minus log of Student's density, without its constant."""
    cost: Array = 0.5 * (STUDENT_DOF + 1.0) * np.log1p(z * z / STUDENT_DOF)
    return cost


@dataclass(frozen=True)
class Turn:
    """A turnaround between two edges: cost, acceleration through it (rad/s²), time from vertex to second edge."""

    cost: Array
    accel_rad_s2: Array
    tau_s: Array


# How far the first edge after a turnaround lies from the last one before, in spacings along the new sense:
# the same magnet twice; its edge on the way back only missing; its edge on the way on only missing.
WAYS = (0, 1, -1)


def turn_costs(scales: Scales, speed: Array, before_s: Array, gap_s: Array) -> list[Turn]:
    """The ways of turning (see ``WAYS``) between two edges ``gap_s`` apart.

    Args:
        speed: mean speed in the gap before, rad/s; before_s: that gap's length, s.

    Constant acceleration a through the vertex ties the edges together: on the way back the wheel goes ``way``
    spacings more than on the way on, from which follow speed = a·(gap + before)/2 − way·spacing/gap and the
    vertex, at (gap − 2·way·spacing/(a·gap))/2 after the last edge before it.
    """
    spacing = scales.spacing_rad
    half = (gap_s + before_s) / 2.0
    turns = []
    for way in WAYS:
        accel = speed / half if way == 0 else np.maximum((speed + way * spacing / gap_s) / half, 1e-3)
        lead = np.clip(0.5 * (gap_s - 2.0 * way * spacing / (accel * gap_s)), 0.0, gap_s)
        depth = 0.5 * accel * lead**2 if way >= 0 else 0.5 * accel * (gap_s - lead) ** 2
        grazed = depth < REACH_RAD
        if way == 0:
            seen = np.where(grazed, -math.log(0.6), 0.0)
        elif way == 1:
            seen = np.where(grazed, -math.log(0.4), 1.0 - math.log(MISS_CHANCE))
        else:
            seen = np.where(grazed, 1.0, 1.0) - math.log(MISS_CHANCE)
        turns.append(_turn(scales, speed, half, gap_s, accel, gap_s - lead, depth, seen))
    return turns


def _turn(
    scales: Scales,
    speed: Array,
    half_s: Array,
    gap_s: Array,
    accel: Array,
    tau_s: Array,
    depth: Array,
    seen: Array,
) -> Turn:
    """The cheaper of turning straight round and of standing still in between."""
    usual = scales.accel_rad_s2
    too_deep = np.where(depth > 1.03 * scales.spacing_rad, -2.0 * math.log(MISS_CHANCE), 0.0)
    straight = _normal_cost(np.log(accel / usual), 0.9) + np.log(2.0 * half_s) + too_deep
    needed = speed**2 / (2.0 * scales.spacing_rad)
    haste = np.maximum(np.log(needed / (4.0 * usual)), 0.0)
    pause = 2.5 + 2.0 * np.log(gap_s + 0.3) - math.log(0.3) + 2.0 * haste**2
    paused = pause < straight
    rest_tau = np.minimum(gap_s / 2.0, math.sqrt(scales.spacing_rad / usual))
    return Turn(
        np.where(paused, pause, straight) + seen,
        np.where(paused, usual, accel),
        np.where(paused, rest_tau, tau_s),
    )


def fresh_cost(scales: Scales, new: Array, gap_s: Array) -> Array:
    """Cost of a path's first gap: from rest a spacing before, the wheel has not got fast yet; nor does it creep."""
    usual = scales.spacing_rad * 2.0 * scales.accel_rad_s2
    haste = np.maximum(np.log(new**2 / (3.0 * usual)), 0.0)
    creep = np.maximum(np.log(usual / 4.0 / new**2) - _CREEP, 0.0)
    off = 2.0 * haste**2 + creep**2
    return 2.0 + np.log(gap_s) + np.minimum(off, IN_MOTION_COST)


def depart_cost(scales: Scales, turn_accel: Array, tau_s: Array, new: Array, gap_s: Array) -> Array:
    """Cost of the first gap after a turnaround: mean speed ``new`` over ``gap_s``, from rest ``tau_s`` before it."""
    accel = new / (tau_s + gap_s / 2.0)
    return _normal_cost(np.log(accel / turn_accel), 0.7) + np.log(gap_s)


def _normal_cost(difference: Array, scale: float) -> Array:
    """Minus log of the normal density: unlike Student's it rules out what is far off."""
    return 0.5 * (difference / scale) ** 2 + math.log(scale * math.sqrt(2.0 * math.pi))
