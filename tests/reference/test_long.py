"""Long recordings: thinned and worked out piece by piece, with the same answers as all at once."""

import itertools

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.bench.reference_cost import session
from brakebeat.formats.recording import Recording
from brakebeat.reference import analyse, blocks, edges
from brakebeat.reference.edges import edge_train


@given(st.lists(st.sampled_from([1, 1, 1, -1]), min_size=1, max_size=400), st.integers(1, 50))
def test_an_encoder_is_thinned_in_pieces_as_all_at_once(steps, piece):
    step = np.array(steps, np.int8)
    recording = Recording(np.arange(len(step)) * 1000, step, {"pulses_per_rev": "480"})
    whole = edge_train(recording)
    at_once = edges._AT_ONCE
    try:
        edges._AT_ONCE = piece
        pieces = edge_train(recording)
    finally:
        edges._AT_ONCE = at_once
    after = np.cumsum(step.astype(int))
    mark = after - (step > 0)
    assert np.array_equal(whole.row, np.flatnonzero(mark % 10 == 0))
    for train in (whole, pieces):
        assert np.array_equal(train.row, whole.row)
        assert np.array_equal(train.count * 10, mark[whole.row])
        assert np.allclose(train.t_s, whole.row * 1e-3, rtol=1e-12)


def test_blocks_are_the_recording_cut_at_rests(monkeypatch):
    monkeypatch.setattr(blocks, "BLOCK_TURNS", 120)
    train = edge_train(session("clean-6", 3000))
    parts = list(blocks.blocks(train))
    assert len(parts) > 2
    assert np.array_equal(np.concatenate([part.row for part in parts]), train.row)
    for before, after in itertools.pairwise(parts):
        assert after.t_s[0] - before.t_s[-1] > 8.0
        assert len(before.t_s) >= 720


def test_a_recording_in_blocks_has_the_same_reps(monkeypatch):
    recording = session("clean-6", 3000)
    whole = analyse(recording)
    monkeypatch.setattr(blocks, "BLOCK_TURNS", 120)
    parts = analyse(recording)
    assert parts.sets == whole.sets
    assert [rep.momentum for rep in parts.reps] == [rep.momentum for rep in whole.reps]
    for one, other in zip(parts.reps, whole.reps, strict=True):
        assert abs(one.end_us - other.end_us) < 15_000
        assert abs(one.peak_rad_s / other.peak_rad_s - 1.0) < 0.0015
