"""Edges that no wheel makes: a replay and a board end with figures, however strange, and never with a crash."""

import json
from itertools import accumulate

import numpy as np
import pytest
from hypothesis import Phase, example, given, settings
from hypothesis import strategies as st

from brakebeat.board import replay
from brakebeat.board.engine import micropython_command
from brakebeat.formats.recording import Recording, read_recording
from brakebeat.samples import find
from brakebeat.simulate import hard_cases, preset
from tests.board.documents import check_document, only_document
from tests.firmware.exact import play

RIG = {"pulses_per_rev": "6", "inertia_kg_m2": "0.12", "drum_radius_m": "0.015", "friction_torque_nm": "0.1"}
GAP = (
    st.integers(0, 3_000)
    | st.integers(1_000, 100_000)
    | st.sampled_from([5_000, 20_000, 700_000])
    | st.sampled_from([2**29, 2**30, 2**30 + 1, 3_600_000_000])
)
EVEN = st.lists(st.tuples(GAP, st.integers(1, 30), GAP), max_size=8).map(
    lambda runs: [gap for every, times, odd in runs for gap in [*[every] * times, odd]]
)
SAME = st.integers(1, 200).map(lambda count: [0] * count)
GAPS = st.lists(GAP, min_size=1, max_size=120) | EVEN | SAME
STEPS = {
    "no sense": st.just(0),
    "sense": st.sampled_from([1, 1, 1, 1, -1]),
    "mixed": st.sampled_from([-1, 0, 1]),
}


def recording_of(gaps: list[int], steps: list[int], **header: str) -> Recording:
    times = np.fromiter(accumulate(gaps, initial=1_000_000), np.int64)
    # The senses over and over, as many as are needed.
    sense = np.resize(np.array(steps, np.int8), times.size)
    return Recording(times, sense, {**RIG, **header})


def survived(recording: Recording, engine: str) -> None:
    """The replay ends, and its document has the published shape."""
    analysis = replay(recording, engine=engine)
    document = only_document(json.dumps(analysis.to_document(), allow_nan=False))
    assert document["pulses"] == recording.t_us.size
    assert len(document["reps"]) * 4 <= recording.t_us.size
    assert document["quality"]["overrun"] == 0


# What fuzzing found, each made as small as it goes: name, gaps, steps, pulses a turn, what the firmware said.
CRASHES = {
    "noise while idle": ([1000, 20000, 100000, 5000, 1000, 5000, 700000], [0], 6),
    "three magnets, slow": ([1000, 10000, 700000, 700000, 100000, 100000, 700000], [0], 3),
    "two lines at once": ([*[100000] * 11, 0, *[100000] * 4], [1], 24),
    "one line back, then on": (
        [*[100000] * 10, 10000, 10000, *[100000] * 10, 20000, 10000],
        [-1] + [1] * 25,
        24,
    ),
    "far too quick": ([*[1000] * 3, 10000, *[100000] * 3, *[1000] * 6, 3000000], [1], 24),
}


@pytest.mark.parametrize("case", CRASHES.values(), ids=CRASHES)
def test_small_crashes(case):
    gaps, steps, pulses = case
    survived(recording_of(gaps, steps, pulses_per_rev=str(pulses)), "cpython")


@pytest.mark.parametrize("case", ["two_sets", "never_braked", "nudged_while_idle"])
@pytest.mark.parametrize("counts", [96, 600])
def test_an_encoder_after_a_rest(case, counts):
    """The next set starts the other way round."""
    recording, truth = hard_cases(preset("clean", counts, "encoder"))[case](1)
    assert len(replay(recording).reps) == len(truth["reps"])


@pytest.mark.parametrize("kind", STEPS)
def test_no_edges_crash_it(kind):
    """In this process: thousands of edges a second."""

    # No shrinking: it would take minutes, and what is found can be shrunk by hand.
    @settings(max_examples=100, phases=[Phase.explicit, Phase.generate])
    @given(GAPS, st.lists(STEPS[kind], min_size=1, max_size=80), st.sampled_from([1, 2, 6, 24, 2400]))
    def no_crash(gaps, steps, pulses):
        recording = recording_of(gaps, steps)
        rig = {"inertia_kg_m2": 0.12, "drum_radius_m": 0.015, "friction_torque_nm": 0.1}
        played = play(recording.t_us.tolist(), recording.step.tolist(), pulses_per_rev=pulses, **rig)
        for rep in played.reps:
            assert rep.start_us < rep.extension_us < rep.end_us
            assert rep.peak_rad_s > 0

    for gaps, steps, pulses in CRASHES.values():
        if set(steps) <= {0} if kind == "no sense" else 0 not in steps:
            no_crash = example(gaps, steps, pulses)(no_crash)
    no_crash()


@pytest.mark.skipif(micropython_command() is None, reason="no MicroPython VM here")
@settings(max_examples=8)
@given(SAME | EVEN.filter(lambda gaps: max(gaps, default=0) > 600_000), st.just([0]))
def test_no_hang_on_the_vm(gaps, steps):
    """Rests beyond the counter's range and edges all at once."""
    survived(recording_of(gaps or [0], steps), "micropython")


SAMPLES = {name: read_recording(find(name)) for name in ("dirty", "encoder")}


@pytest.mark.parametrize("name", SAMPLES)
@settings(max_examples=40)
@given(cut=st.data())
def test_any_stretch_of_a_recording(name, cut):
    """Cut at any edge on either side: what is whole in between is found, and nothing crashes."""
    whole = SAMPLES[name]
    first = cut.draw(st.integers(0, whole.t_us.size - 1))
    last = cut.draw(st.integers(first + 1, whole.t_us.size))
    part = Recording(whole.t_us[first:last], whole.step[first:last], whole.header)
    rig = {key: value for key, value in part.rig.board_dict().items() if value is not None}
    played = play(part.t_us.tolist(), part.step.tolist(), **rig)
    slack_us = 5_000_000
    for rep in played.reps:
        assert (
            part.t_us[0] - slack_us < rep.start_us < rep.extension_us < rep.end_us < part.t_us[-1] + slack_us
        )


def test_the_documents_of_whole_samples():
    for recording in SAMPLES.values():
        check_document(only_document(json.dumps(replay(recording).to_document(), allow_nan=False)))
