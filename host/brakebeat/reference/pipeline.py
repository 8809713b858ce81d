"""From a recording to the fit, the strokes and φ = 0: what every result of the reference is read from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brakebeat.formats.recording import Recording
from brakebeat.reference.bouts import make_bout
from brakebeat.reference.clean import Decoder, Path
from brakebeat.reference.edges import EdgeTrain, edge_train
from brakebeat.reference.ends import Stroke, locate_strokes
from brakebeat.reference.fit import Fit, fit_bouts
from brakebeat.reference.likelihood import Scales
from brakebeat.reference.scales import measure_scales
from brakebeat.reference.strokes import Strokes, cut_strokes
from brakebeat.reference.zero import Zero, find_zero

# Up to so many magnets each gets an offset of its own; an encoder's disc is taken as even.
MOST_MAGNETS = 24
FEWEST_EDGES = 4


@dataclass(frozen=True)
class Understanding:
    """All that was worked out of a recording. ``fit`` and what follows are None where there is too little."""

    train: EdgeTrain
    path: Path | None
    fit: Fit | None
    strokes: list[Stroke]
    zero: Zero | None


def understand(recording: Recording) -> Understanding:
    """Clean, cut, fit, place."""
    train = edge_train(recording)
    if len(train.t_s) < FEWEST_EDGES:
        return Understanding(train, None, None, [], None)
    scales = measure_scales(train.t_s, train.spacing_rad, train.per_rev)
    path = encoder_path(train) if train.count is not None else Decoder(train.t_s, train.step, scales).path()
    if path.real.sum() < FEWEST_EDGES:
        return Understanding(train, path, None, [], None)
    cut = _cut(train, path, scales)
    fit = _fit(train, cut)
    strokes = locate_strokes(cut, fit, train.spacing_rad)
    return Understanding(train, path, fit, strokes, _zero(strokes))


def encoder_path(train: EdgeTrain) -> Path:
    """A dense encoder's edges are what they say they are."""
    n = len(train.t_s)
    count = train.count if train.count is not None else np.zeros(n, np.int64)
    sense = train.step.astype(np.int64)
    return Path(np.ones(n, bool), count, sense, np.zeros(n, bool), 0)


def _cut(train: EdgeTrain, path: Path, scales: Scales) -> Strokes:
    real = path.real
    return cut_strokes(
        train.t_s[real], path.place[real], path.sense[real], scales.spacing_rad, scales.accel_rad_s2
    )


def _fit(train: EdgeTrain, cut: Strokes) -> Fit:
    magnets = train.per_rev if 1 < train.per_rev <= MOST_MAGNETS else 0
    bouts = []
    spans = [(cut.edges(a).start, cut.edges(b - 1).stop) for a, b in cut.bouts()]
    for position, (start, stop) in enumerate(spans):
        before = np.inf if not position else cut.t_s[start] - cut.t_s[start - 1]
        after = np.inf if position + 1 == len(spans) else cut.t_s[stop] - cut.t_s[stop - 1]
        edges = slice(start, stop)
        place = cut.place[edges]
        bouts.append(
            make_bout(
                cut.t_s[edges],
                place * train.spacing_rad,
                place % max(magnets, 1),
                cut.sense[edges],
                (float(before), float(after)),
            )
        )
    return fit_bouts(bouts, magnets)


def _zero(strokes: list[Stroke]) -> Zero | None:
    """φ = 0 from the turnarounds: a stroke's ends lie on either side of it."""
    angles, sides = [], []
    for stroke in strokes:
        if stroke.begin.known:
            angles.append(stroke.begin.angle_rad)
            sides.append(-stroke.sense)
        if stroke.finish.known:
            angles.append(stroke.finish.angle_rad)
            sides.append(stroke.sense)
    return find_zero(np.asarray(angles), np.asarray(sides, dtype=np.int64))
