"""How much the acceleration changes around a recording's turnarounds: asked of all of them together.

A light wheel is pulled many times harder at first than once it is fast, a heavy one hardly; one athlete brakes as he
pulls, another far harder. Under priors made for the one, the other's edges are a matter of other magnets. No turnaround
tells it well; those of a session do, by hundreds of log odds.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Sequence

import numpy as np

from brakebeat.reference.model.spline import Array
from brakebeat.reference.turnaround.reading import Model, Nearby, Reading
from brakebeat.reference.turnaround.readings import Readings
from brakebeat.reference.turnaround.side import USUAL, Manner

# As −2·log prior odds: another manner than the usual one has to be told by more than one turnaround.
_MANNERS = (
    (USUAL, 0.0),
    *[
        (Manner(change, steady, spread, rough), 6.0)
        for change, steady, spread in (
            (0.8, 1.0, 0.4),
            (0.8, 4.0, 0.4),
            (2.4, 4.0, 0.4),
            (2.4, 16.0, 0.4),
            (2.4, 16.0, 1.2),
            (6.0, 16.0, 1.2),
        )
        for rough in (0.1, 1.0, 10.0)
        if (change, steady, rough) != (USUAL.change, USUAL.steady_per_s, USUAL.rough)
    ],
)
# So many turnarounds are asked, evenly over the recording.
_ASKED = 6
# A pull may take so long to come.
_COMING_S = (0.015, 0.06)
_WAYS = (0, 1, -1)
# A turnaround read wrongly would have any manner that makes it likelier: each objects to another by so much at most.
_MOST = 30.0


def usual_manner(models: Sequence[Model], nears: Sequence[Nearby]) -> Manner:
    """The likeliest manner of turnarounds, each with its own model; the usual one where there are none."""
    if not nears:
        return USUAL
    asked = np.unique(np.linspace(0, len(nears) - 1, min(_ASKED, len(nears))).round().astype(int)).tolist()
    readings, starts = [], [0]
    for manner, _ in _MANNERS:
        for at in asked:
            model = dataclasses.replace(models[at], manner=manner)
            near = nears[at]
            ways = _WAYS if near.way is None else (near.way,)
            readings += [Reading(model, near, way, coming_s) for way in ways for coming_s in _COMING_S]
            starts.append(len(readings))
    verdicts = Readings(readings).straight(np.arange(len(readings)))
    cost = np.array([verdicts[number].cost for number in range(len(readings))])
    told = np.array([_any_of(cost[low:high]) for low, high in itertools.pairwise(starts)])
    told = told.reshape(len(_MANNERS), len(asked))
    known = np.isfinite(told).all(axis=0)
    worse = told[:, known] - told[:, known].min(axis=0)
    total = np.minimum(worse, _MOST).sum(axis=1) + [odds for _, odds in _MANNERS]
    return _MANNERS[int(total.argmin())][0]


def _any_of(cost: Array) -> float:
    """−2·log of the mean likelihood."""
    least = float(cost.min())
    return least - 2.0 * float(np.log(np.exp(-0.5 * (cost - least)).mean())) if np.isfinite(least) else least
