"""How often this sensor errs, measured on the path through its edges; the path is looked for again if that is much."""

from __future__ import annotations

import numpy as np

from brakebeat.reference.edges import EdgeTrain
from brakebeat.reference.model.likelihood import (
    BOUNCE_CHANCE,
    MISS_CHANCE,
    SPURIOUS_PER_S,
    Array,
    Faults,
    Scales,
)
from brakebeat.reference.path.clean import Decoder, Path

_PASSES = 3
# Rates further above the assumed ones than this change what is likely.
_MORE = 1.7
# What is known beforehand weighs like so many edges or seconds.
_EDGES_BEFORE = 50.0
_SECONDS_BEFORE = 5.0
_LEAST_CHANCE = 0.002
_LEAST_PER_S, _MOST_PER_S = 0.02, 30.0


def best_path(train: EdgeTrain, scales: Scales) -> tuple[Path, Faults]:
    """The best path through bare edges, and how often the sensor erred on it."""
    assumed = Faults()
    for _ in range(_PASSES):
        path = Decoder(train.t_s, train.step, scales, assumed).path()
        found = measured(path, train.t_s)
        if (
            found.bounce_chance < _MORE * assumed.bounce_chance
            and found.spurious_per_s < _MORE * assumed.spurious_per_s
        ):
            break
        assumed = found
    return path, found


def measured(path: Path, t_s: Array) -> Faults:
    """Rates of faults as a path has them."""
    real = int(path.real.sum())
    extra = ~path.real
    bounced, strays = int((extra & path.bounce).sum()), int((extra & ~path.bounce).sum())
    lasts = float(t_s[-1] - t_s[0])
    return Faults(
        _chance(path.missed, real, MISS_CHANCE),
        _chance(bounced, real, BOUNCE_CHANCE),
        float(
            np.clip(
                (strays + SPURIOUS_PER_S * _SECONDS_BEFORE) / (lasts + _SECONDS_BEFORE),
                _LEAST_PER_S,
                _MOST_PER_S,
            )
        ),
    )


def _chance(count: int, among: int, assumed: float) -> float:
    chance = (count + assumed * _EDGES_BEFORE) / (among + _EDGES_BEFORE)
    return float(np.clip(chance, _LEAST_CHANCE, 0.9))
