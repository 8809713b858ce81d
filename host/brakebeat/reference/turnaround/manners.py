"""How much the acceleration changes around a recording's turnarounds: asked of all of them together.

A light wheel is pulled many times harder at first than once it is fast, a heavy one hardly; one athlete brakes as he
pulls, another far harder. Under priors made for the one, the other's edges are a matter of other magnets. No turnaround
tells it well; those of a session do, by hundreds of log odds.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from brakebeat.reference.model.spline import Array
from brakebeat.reference.turnaround.reading import Model, Nearby, Reading
from brakebeat.reference.turnaround.readings import Readings
from brakebeat.reference.turnaround.side import USUAL, Manner

# Changes of the acceleration, what goes on to change, and how far the usual one may be off.
_CHANGES = (
    (0.8, 1.0, 0.4),
    (0.8, 4.0, 0.4),
    (2.4, 4.0, 0.4),
    (2.4, 16.0, 0.4),
    (2.4, 16.0, 1.2),
    (6.0, 16.0, 1.2),
)
_ROUGH = (0.1, 1.0, 10.0)
_STEADY = [Manner(*change, rough) for change in _CHANGES for rough in _ROUGH]
# On a light wheel: a pull that comes at once, far stronger than the brake, and weakens as fast as the wheel runs off.
_LIGHT = Manner(change=6.0, steady_per_s=4.0, spread=1.2, coming_s=0.012)
_WEAKENS_PER_S = (3.0, 5.0, 8.0, 12.0, 18.0, 27.0, 40.0)
_WEAKENING = [
    replace(_LIGHT, rough=rough, weakens_per_s=per_s)
    for rough in _ROUGH[1:]
    for per_s in _WEAKENS_PER_S[1::2]
]
# What is then looked at more closely, one thing after the other.
_CLOSER = (
    [{"weakens_per_s": per_s} for per_s in _WEAKENS_PER_S],
    [{"coming_s": coming_s} for coming_s in (0.006, 0.012, 0.025, 0.045, 0.08, 0.13)],
    [{"change": change} for change in (0.8, 2.4, 6.0, 15.0)],
    [{"rough": rough} for rough in _ROUGH],
    [{"weakens_per_s": per_s} for per_s in _WEAKENS_PER_S],
)
# As −2·log prior odds: another manner than the usual one has to be told by more than one turnaround.
_OTHER, _WEAKER = 6.0, 12.0
# So many turnarounds are asked, evenly over the recording.
_ASKED = 6
# A pull may take so long to come, where the manner leaves it open.
_COMING_S = (0.015, 0.06)
_WAYS = (0, 1, -1)
# A turnaround read wrongly would have any manner that makes it likelier: each objects to another by so much at most.
_MOST = 30.0


def usual_manner(models: Sequence[Model], nears: Sequence[Nearby], among: int) -> Manner:
    """The likeliest manner of turnarounds, each with its own model; the usual one where there are few.

    Args:
        among: so many turnarounds there are in all. Where most others are rests, these may be short ones.
    """
    if not nears or 2 * len(nears) < among:
        return USUAL
    asked = np.unique(np.linspace(0, len(nears) - 1, min(_ASKED, len(nears))).round().astype(int)).tolist()
    turnarounds = [(models[at], nears[at]) for at in asked]
    # Those that weaken cost more to weigh than the others: each kind by itself.
    told = np.vstack([_told(_STEADY, turnarounds), _told(_WEAKENING, turnarounds)])
    best = _likeliest([*_STEADY, *_WEAKENING], told)
    if best.weakens_per_s:
        for changes in _CLOSER:
            closer = [replace(best, **change) for change in changes]
            best = _likeliest(closer, _told(closer, turnarounds))
    return best


def _likeliest(manners: Sequence[Manner], told: Array) -> Manner:
    known = np.isfinite(told).all(axis=0)
    worse = told[:, known] - told[:, known].min(axis=0)
    odds = [0.0 if manner == USUAL else _WEAKER if manner.weakens_per_s else _OTHER for manner in manners]
    return manners[int((np.minimum(worse, _MOST).sum(axis=1) + odds).argmin())]


def _told(manners: Sequence[Manner], turnarounds: Sequence[tuple[Model, Nearby]]) -> Array:
    """−2·log likelihood of each turnaround's edges by each manner (manners, turnarounds)."""
    readings, starts = [], [0]
    for manner in manners:
        coming_s = (None,) if manner.weakens_per_s else _COMING_S
        for model, near in turnarounds:
            ways = _WAYS if near.way is None else (near.way,)
            own = replace(model, manner=manner)
            readings += [Reading(own, near, way, each) for way in ways for each in coming_s]
            starts.append(len(readings))
    verdicts = Readings(readings).straight(np.arange(len(readings)))
    cost = np.array([verdicts[number].cost for number in range(len(readings))])
    told = np.array([_any_of(cost[low:high]) for low, high in itertools.pairwise(starts)])
    return told.reshape(len(manners), len(turnarounds))


def _any_of(cost: Array) -> float:
    """−2·log of the mean likelihood."""
    least = float(cost.min())
    return least - 2.0 * float(np.log(np.exp(-0.5 * (cost - least)).mean())) if np.isfinite(least) else least
