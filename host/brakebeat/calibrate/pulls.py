"""Slow pulls with pauses between them: how far the shaft turned in each, to a part of the magnets' spacing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.calibrate.hand import Fit, Hands
from brakebeat.calibrate.pull_edges import BOUNCE_S, Pull, find_pulls
from brakebeat.calibrate.tracking import FINE, steady
from brakebeat.errors import InputError
from brakebeat.wording import counted

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

# The fastest that a slow pull turns a wheel: strap at half a metre a second on a drum of 25 mm; common practice, no
# source.
SLOW_RAD_S = 20.0
_CLEARLY_LONGER = 1.5
_ROUNDS = 4
# Minus the logarithm of the chance that the magnet beside a stop was missed.
_MISSED = 4.6
_LEAST_SCATTER = 0.003
# No hand follows a formula better than to this part of a spacing.
_FLOOR = 0.03


@dataclass(frozen=True)
class Stops:
    """Where the shaft stood: before the first pull, between pulls and after the last, (pulls + 1,) each.

    ``place``: counted in magnets from the first edge's 0. ``last_edge``: number of the edge before each stop
    (−1 before the first). ``extra``: edges within and between the pulls that belong to no magnet.
    """

    place: Array
    sigma: Array
    last_edge: Integers
    extra: int


def read_stops(t_s: Array, pulls: int, magnets: int, place: str) -> Stops:
    """The stops around ``pulls`` movements. Raises ``InputError`` with ``place`` in front where they are unclear."""
    if len(t_s) < 2 * pulls + 2:
        raise InputError(
            f"{place}: {len(t_s)} edges are too few for {pulls} pulls: pull further each time, at least a turn"
        )
    # A stop between two of an encoder's counts is known well enough without asking how the hand moved; its edges are
    # too many for that, and none of them strays.
    found = _by_gaps(t_s, pulls) if magnets >= FINE else find_pulls(t_s, pulls)
    if found is None or min(len(pull.edge) for pull in found) < 2:
        raise InputError(
            f"{place}: {counted(pulls, 'length')} given, but {pauses_hidden(pulls)}: hold still for three "
            "seconds after each pull, and pull evenly"
        )
    return _fitted(t_s, found, magnets)


def spun_rad_s(t_s: Array, magnets: int) -> float:
    """The greatest speed, each taken over a turn, and over three spacings at least; 0 where edges are too few."""
    spacings = max(magnets, 3)
    if len(t_s) <= spacings:
        return 0.0
    return float(2.0 * np.pi * spacings / magnets / np.min(t_s[spacings:] - t_s[:-spacings]))


def pauses_hidden(pulls: int) -> str:
    """`the 3 pauses between the pulls do not stand out`."""
    if pulls <= 2:
        return "the pause between the two pulls does not stand out" if pulls == 2 else "no pull stands out"
    return f"the {pulls - 1} pauses between the pulls do not stand out"


def _by_gaps(t_s: Array, pulls: int) -> list[Pull] | None:
    """Pulls parted by the longest gaps."""
    kept = steady(t_s, dead=0.2)
    gaps = np.diff(t_s[kept])
    order = np.sort(gaps)[::-1]
    if len(gaps) < pulls or (pulls > 1 and order[pulls - 2] < _CLEARLY_LONGER * order[pulls - 1]):
        return None
    pauses = np.sort(np.argsort(gaps)[::-1][: pulls - 1])
    return [Pull(part, np.arange(len(part))) for part in np.split(kept, pauses + 1)]


def _fitted(t_s: Array, found: list[Pull], magnets: int) -> Stops:
    """First each pull's ends by themselves, to see which magnets were missed beside a stop; then all together."""
    times, places = [t_s[pull.edge] for pull in found], [pull.place for pull in found]
    # An encoder's counts are too many to place each of them.
    fit = Fit(times, places, magnets if magnets < FINE else 1)
    steps, tied, scatter = [1] * (len(found) - 1), False, 0.05
    for _ in range(_ROUNDS):
        begins = _begins(found, steps)
        marks = [
            (begin + place) % (magnets if magnets < FINE else 1)
            for begin, place in zip(begins, places, strict=True)
        ]
        hands = fit.solve(marks, steps if tied else None, scatter)
        square = float(np.sum(np.minimum(np.abs(hands.residual), 4.0 * scatter) ** 2))
        scatter = max(float(np.sqrt(square / hands.freedom)), _LEAST_SCATTER)
        if not tied:
            steps, tied = _steps(hands), True
    first = [begin + hands.offset[mark[0]] for begin, mark in zip(begins, marks, strict=True)]
    last = [
        begin + place[-1] + hands.offset[mark[-1]]
        for begin, place, mark in zip(begins, places, marks, strict=True)
    ]
    ends = np.array(last) + hands.beyond
    starts = np.array(first) - hands.before
    sigma = np.sqrt(np.clip(np.diag(hands.covariance), 0.0, None))
    place = [starts[0], *(0.5 * (ends[:-1] + starts[1:])), ends[-1]]
    spread = np.append(sigma[0::2], sigma[-1])
    numbers = np.array([-1, *(int(pull.edge[-1]) for pull in found)])
    used = np.concatenate([pull.edge for pull in found])
    extra = int(used[-1] - used[0] + 1 - len(used) - _bounces(t_s[used[0] : used[-1] + 1]))
    return Stops(np.array(place), np.hypot(spread, _FLOOR), numbers, extra)


def _bounces(t_s: Array) -> int:
    return int((np.diff(t_s) <= BOUNCE_S).sum())


def _begins(found: list[Pull], steps: list[int]) -> list[int]:
    """The place of each pull's first edge, from the very first one's 0."""
    begins = [0]
    for pull, step in zip(found[:-1], steps, strict=True):
        begins.append(begins[-1] + int(pull.place[-1]) + step)
    return begins


def _steps(hands: Hands) -> list[int]:
    """One magnet lies between two pulls' edges' places, unless the one beside the stop was missed."""
    steps = []
    for stop in range(len(hands.before) - 1):
        total = float(hands.beyond[stop] + hands.before[stop + 1])
        pair = slice(2 * stop + 1, 2 * stop + 3)
        variance = float(hands.covariance[pair, pair].sum()) + _FLOOR**2
        costs = {step: 0.5 * (total - step) ** 2 / variance + _MISSED * (step - 1) for step in (1, 2)}
        steps.append(min(costs, key=lambda step: costs[step]))
    return steps


def overrun(t_s: Array) -> float:
    """How far beyond its last edge a movement went, in spacings, from how it slowed down; 0.05 at least.

    The last two gaps' speeds to a power are drawn on as a straight line to 0. Even slowing asks for the power 2,
    a hand that moves with least jerk for 3/2 in the end and more before; 7/4 is off by a tenth for either.
    """
    gaps = np.diff(t_s)[-2:]
    if len(gaps) < 2:
        return 0.5
    falling = gaps**-1.75
    middle = np.arange(len(gaps)) - len(gaps) + 0.5
    slope, level = np.polyfit(middle, falling, 1)
    if slope >= 0.0:
        return 0.5
    return float(np.clip(-level / slope, 0.05, 1.5))
