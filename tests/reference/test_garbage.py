"""Edges of any kind: an analysis without a crash, without NaN, with reps in order."""

import json

import numpy as np
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from brakebeat.formats.recording import Recording
from brakebeat.reference import analyse, trace

GAPS_US = st.one_of(
    st.integers(0, 3), st.integers(100, 2_000), st.integers(5_000, 400_000), st.integers(10**6, 10**9)
)
SENSES = st.sampled_from([(0,), (1,), (1, -1), (0, 1, -1)])
EDGES = SENSES.flatmap(lambda senses: st.lists(st.tuples(GAPS_US, st.sampled_from(senses)), max_size=24))
SINGLE = {"pulses_per_rev": "1"}
SIX = {"pulses_per_rev": "6", "inertia_kg_m2": "0.1"}
MARKED = {"pulses_per_rev": "24", "inertia_kg_m2": "0.1", "drum_radius_m": "0.02", "zero_index": "7"}
DENSE = {"pulses_per_rev": "96", "inertia_kg_m2": "0.1", "friction_torque_nm": "0.2"}
RIGS = st.sampled_from([SINGLE, SIX, MARKED, DENSE])
# What broke once: edges at one instant, lone edges beside a rest, edges that two strokes claimed.
AT_ONCE = [(0, sense) for sense in (1, 1, 1, 1, 1, -1, 1)]
AT_ONCE_TO_AND_FRO = [(0, sense) for sense in (-1, 1, -1, -1, 1, -1, 1)]
BESIDE_A_REST = [
    *((0, 1), (0, 1), (0, 1), (1650, 1), (5000, 1), (8579, 1), (0, 1), (2, 1), (63703753, -1), (0, 1)),
    *((131071, 1), (0, 1), (0, 1), (445, -1), (0, 1), (1333, 1), (267, -1), (898, 1), (1, -1), (0, 1)),
    *((71509, 1), (329, 1), (254936, -1), (10301994, 1)),
]
CLAIMED_TWICE = [
    *((0, 1), (0, 1), (0, 1), (1650, 1), (5000, 1), (8579, 1), (0, 1), (2, 1), (63703753, -1), (0, 1)),
    *((131071, 1), (0, 1), (659, 1), (0, -1), (0, 1), (1333, 1), (0, 1), (898, 1), (0, 1), (0, 1), (0, 1)),
    (3, 1),
]
CHAINS_THAT_MEET = [
    *((0, 1), (0, 1), (0, 1), (0, 1), (0, 1), (5000, 1), (0, 1), (0, 1), (63703753, -1), (0, 1)),
    *((131071, 1), (0, 1), (659, 1), (0, -1), (0, 1), (100, 1), (0, 1), (898, 1), (0, 1), (0, 1)),
    *((0, 1), (3, 1), (3, 1), (0, 1)),
]
SHORTER_THAN_A_PULLS_RISE = [
    *((2, 1), (487, 1), (0, -1), (178771, 1), (463, -1), (3, -1), (3, -1), (238007113, -1), (82106, 1)),
    *((489, 1), (816, 1), (100, -1), (82106, 1), (128, -1), (110691, -1), (301, -1), (278225, 1)),
    *((5237, -1), (0, 1), (292, 1)),
]
SHORT_AFTER_LONG_RESTS = [
    *((0, 1), (127852, 1), (397, 1), (166, 1), (400000, 1), (1, 1), (291, 1), (1743, 1), (100, 1)),
    *((100, 1), (269798425, 1), (481, 1), (1, 1), (807, 1), (0, 1), (1, 1), (999999999, 1), (1, 1)),
]


@given(EDGES, RIGS)
@example(AT_ONCE, DENSE)
@example([(0, 0)] * 9, DENSE)
@example(AT_ONCE_TO_AND_FRO, DENSE)
@example(BESIDE_A_REST, SIX)
@example(CLAIMED_TWICE, SINGLE)
@example(CHAINS_THAT_MEET, MARKED)
@example(SHORTER_THAN_A_PULLS_RISE, MARKED)
@example(SHORT_AFTER_LONG_RESTS, MARKED)
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_random_edges_never_crash(edges, header):
    holds_together(edges, header)


def holds_together(edges, header):
    """An analysis of edges (gap in µs, sense) whose reps are possible ones, and a motion that can be drawn."""
    t_us = np.cumsum(np.array([gap for gap, _ in edges], np.int64))
    step = np.array([sense for _, sense in edges], np.int8)
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
