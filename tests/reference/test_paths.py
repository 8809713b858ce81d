"""Paths through edges: searched only where something is in doubt, they are those of a search through all of it."""

import numpy as np
import pytest

from brakebeat.reference.edges import edge_train
from brakebeat.reference.model.likelihood import Faults
from brakebeat.reference.model.scales import measure_scales
from brakebeat.reference.path.certain import certain, windows
from brakebeat.reference.path.clean import Decoder
from brakebeat.reference.path.lanes import Lanes
from brakebeat.reference.path.moves import Moves
from brakebeat.simulate import default_recording, preset

KINDS = [("clean", 2), ("clean", 6), ("dirty", 6), ("dirty", 12)]


def train_of(kind, magnets):
    train = edge_train(default_recording(71, sensor=preset(kind, magnets), reps=4)[0])
    return train, measure_scales(train.t_s, train.spacing_rad, train.per_rev)


@pytest.mark.parametrize(("kind", "magnets"), KINDS)
def test_windows_give_the_path_of_the_whole(kind, magnets):
    train, scales = train_of(kind, magnets)
    whole = windows(np.zeros(len(train.t_s), bool))
    lanes, moves = Lanes(train.t_s, train.step, scales, Faults(), whole), Moves.even(len(train.t_s))
    lanes.search()
    lanes.describe(moves)
    path = Decoder(train.t_s, train.step, scales, Faults()).path()
    assert np.array_equal(path.real, moves.real)
    turned = np.flatnonzero(moves.turns & moves.real)
    assert len(turned) >= 3
    rows = np.flatnonzero(path.real)
    assert np.array_equal(rows[1:][np.diff(path.sense[rows]) != 0], turned)


@pytest.mark.parametrize(("kind", "magnets"), KINDS)
def test_windows_hold_every_edge_in_doubt_between_edges_beyond_it(kind, magnets):
    train, scales = train_of(kind, magnets)
    sure = certain(train.t_s, scales)
    cut = windows(sure)
    inside = np.zeros(len(sure), bool)
    for first, last, opens, closes in zip(cut.first, cut.last, cut.opens, cut.closes, strict=True):
        assert sure[first] == opens
        assert sure[last] == closes
        inside[first : last + 1] = True
    assert (inside | sure).all()
