"""The reference on simulated sets whose truth is known; other folders try cuts, garbage and the hardest sessions."""

import dataclasses

import numpy as np
import pytest

from brakebeat.formats.recording import Recording
from brakebeat.reference import analyse
from brakebeat.simulate import default_recording, preset


@pytest.fixture(scope="module")
def clean():
    return default_recording(41)


def test_every_rep_close_to_the_truth(clean):
    recording, truth = clean
    analysis = analyse(recording)
    assert len(analysis.reps) == len(truth["reps"])
    for rep, true in zip(analysis.reps, truth["reps"], strict=True):
        assert rep.peak_rad_s == pytest.approx(true["peak_rad_s"], rel=0.0015)
        assert rep.end_us == pytest.approx(true["end_us"], abs=15_000)
        assert rep.concentric.energy_j == pytest.approx(true["concentric"]["energy_j"], rel=0.007)
        assert rep.eccentric.energy_j == pytest.approx(true["eccentric"]["energy_j"], rel=0.007)


def test_uncertainties_are_stated_and_hold_most_errors(clean):
    recording, truth = clean
    reps = analyse(recording).reps
    off = [
        abs(rep.peak_rad_s - true["peak_rad_s"]) / rep.uncertainty["peak_rad_s"]
        for rep, true in zip(reps, truth["reps"], strict=True)
    ]
    assert all(rep.uncertainty[name] > 0 for rep in reps for name in ("peak_rad_s", "start_us", "end_us"))
    assert np.median(off) < 5


def test_unknown_inertia_is_null_not_guessed(clean):
    recording, _ = clean
    header = {key: value for key, value in recording.header.items() if key != "inertia_kg_m2"}
    analysis = analyse(Recording(recording.t_us, recording.step, header))
    assert analysis.reps
    for rep in analysis.reps:
        for phase in (rep.concentric, rep.eccentric):
            known = {name for name, value in dataclasses.asdict(phase).items() if value is not None}
            assert known == {"duration_s"}


def test_a_later_clock_moves_times_and_nothing_else(clean):
    recording, _ = clean
    later = Recording(recording.t_us + 7_000_000, recording.step, recording.header)
    for early, late in zip(analyse(recording).reps, analyse(later).reps, strict=True):
        assert late.start_us - early.start_us == pytest.approx(7_000_000, abs=50)
        assert late.peak_rad_s == pytest.approx(early.peak_rad_s, rel=1e-6)


def test_an_encoder_needs_no_guess_of_the_sense():
    recording, truth = default_recording(42, sensor=preset("clean", 96, "encoder"), reps=4)
    analysis = analyse(recording)
    assert len(analysis.reps) == len(truth["reps"])
    for rep, true in zip(analysis.reps, truth["reps"], strict=True):
        assert rep.peak_rad_s == pytest.approx(true["peak_rad_s"], rel=0.0015)


@pytest.mark.parametrize("count", [1, 2, 3, 5])
def test_a_handful_of_edges_is_no_rep(count):
    times = np.arange(count, dtype=np.int64) * 50_000
    assert analyse(Recording(times, np.zeros(count, np.int8), {"pulses_per_rev": "6"})).reps == []
