"""Edges of any kind: an analysis without a crash, without NaN, with reps in order."""

import json

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from brakebeat.formats.recording import Recording
from brakebeat.reference import analyse, trace

GAPS = st.lists(
    st.one_of(
        st.integers(0, 3), st.integers(100, 2_000), st.integers(5_000, 400_000), st.integers(10**6, 10**9)
    ),
    max_size=24,
)
RIGS = st.sampled_from(
    [
        {"pulses_per_rev": "1"},
        {"pulses_per_rev": "6", "inertia_kg_m2": "0.1"},
        {"pulses_per_rev": "24", "inertia_kg_m2": "0.1", "drum_radius_m": "0.02", "zero_index": "7"},
        {"pulses_per_rev": "96", "inertia_kg_m2": "0.1", "friction_torque_nm": "0.2"},
    ]
)


@given(GAPS, RIGS, st.sampled_from([(0,), (1,), (1, -1), (0, 1, -1)]), st.randoms(use_true_random=False))
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_random_edges_never_crash(gaps, header, senses, random):
    t_us = np.cumsum(np.array(gaps, np.int64)) if gaps else np.zeros(0, np.int64)
    step = np.array([random.choice(senses) for _ in gaps], np.int8)
    recording = Recording(t_us, step, header)
    analysis = analyse(recording)
    json.dumps(analysis.to_document(), allow_nan=False)
    for before, rep in zip([None, *analysis.reps], analysis.reps, strict=False):
        assert rep.start_us < rep.extension_us < rep.end_us
        assert min(rep.peak_rad_s, rep.concentric_rad, rep.eccentric_rad) > 0.0
        assert before is None or before.end_us <= rep.start_us + 20_000
    seen = trace(recording)
    assert np.isfinite(seen.speed_rad_s).all()
    assert (np.diff(seen.t_s) > -1e-3).all()


@given(st.integers(0, 2**31), st.floats(0.01, 0.4))
@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_edges_without_rhythm_never_crash(seed, scale):
    rng = np.random.default_rng(seed)
    t_us = np.cumsum(rng.exponential(scale * 1e6, 60)).astype(np.int64)
    analysis = analyse(Recording(t_us, np.zeros(60, np.int8), {"pulses_per_rev": "6"}))
    json.dumps(analysis.to_document(), allow_nan=False)
