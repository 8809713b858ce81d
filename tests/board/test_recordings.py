"""Replays in the recording's own time: nothing depends on the computer's clock, the counter or where time begins."""

import dataclasses
import itertools
import json

import numpy as np
import pytest

from brakebeat.board import replay
from brakebeat.formats.recording import Recording, read_recording, write_recording
from brakebeat.results import Analysis
from brakebeat.samples import find
from brakebeat.simulate import default_recording, preset
from tests.board.documents import check_document, only_document
from tests.firmware.exact import play

WRAP = 2**30


@pytest.fixture(scope="module")
def late() -> Recording:
    """A set with late brakes: cues of two kinds, repairs, momentum reps."""
    return read_recording(find("late"))


@pytest.fixture(scope="module")
def expected(late) -> Analysis:
    return replay(late)


def moved(analysis: Analysis, shift_us: int) -> tuple:
    """All that an analysis says, its times put back by ``shift_us``."""
    reps = [
        dataclasses.replace(
            rep,
            **{
                name: getattr(rep, name) - shift_us
                for name in ("start_us", "extension_us", "end_us", "peak_us", "brake_onset_us")
                if getattr(rep, name) is not None
            },
        )
        for rep in analysis.reps
    ]
    cues = [dataclasses.replace(cue, t_us=cue.t_us - shift_us) for cue in analysis.cues]
    return reps, cues, analysis.quality, analysis.sets, analysis.pulses


def test_twice_the_same(late, expected):
    assert expected.cues
    assert replay(late) == expected


@pytest.mark.parametrize("shift_us", [1000, WRAP - 9_000_000, WRAP, 7 * WRAP + 123_000, 2**52])
def test_where_the_clock_stands_does_not_matter(late, expected, shift_us):
    """Whole turns of the board's main loop later; the counter wraps here and there."""
    shift_us = shift_us // 1000 * 1000
    later = Recording(late.t_us + shift_us, late.step, late.header)
    assert moved(replay(later), shift_us) == moved(expected, 0)


def test_the_loops_own_beat_moves_cues_by_less_than_a_millisecond(late, expected):
    later = replay(Recording(late.t_us + 470, late.step, late.header))
    assert [(cue.kind, cue.rep) for cue in later.cues] == [(cue.kind, cue.rep) for cue in expected.cues]
    for one, other in zip(later.cues, expected.cues, strict=True):
        assert abs(one.t_us - 470 - other.t_us) <= 1000
    assert [rep.start_us - 470 for rep in later.reps] == [rep.start_us for rep in expected.reps]


@pytest.mark.parametrize("modulus", [2**24, WRAP])
def test_through_a_file_whose_counter_wraps(late, expected, modulus, tmp_path):
    """What the file loses is the whole turns of the counter before its first edge."""
    path = tmp_path / "wrapped.csv"
    shift_us = (modulus - int(late.t_us[100])) // 1000 * 1000
    header = {**late.header, "ticks_wrap": str(modulus)}
    write_recording(path, late.t_us + shift_us, late.step, header)
    numbers = [int(line.split(",")[0]) for line in path.read_text().splitlines() if line[0].isdigit()]
    wraps = sum(later < earlier for earlier, later in itertools.pairwise(numbers))
    assert wraps == int((late.t_us[-1] + shift_us) // modulus - (late.t_us[0] + shift_us) // modulus) > 0
    first_us = int(late.t_us[0]) + shift_us
    assert moved(replay(read_recording(path)), shift_us - first_us // modulus * modulus) == moved(expected, 0)


def test_a_rest_is_passed_over_quickly_and_not_cut(late, expected):
    """Two sets a day apart: a replay steps over idle time, so this takes no longer than two sets."""
    day_us = 86_400_000_000
    times = np.concatenate([late.t_us, late.t_us + day_us])
    both = replay(Recording(times, np.concatenate([late.step, late.step]), late.header))
    half = len(expected.reps)
    assert both.sets == [(0, half - 1), (half, 2 * half - 1)]
    assert both.reps[:half] == expected.reps
    for one, other in zip(both.reps[half:], expected.reps, strict=True):
        assert one.start_us - day_us == pytest.approx(other.start_us, abs=5_000)
        assert one.peak_rad_s == pytest.approx(other.peak_rad_s, rel=5e-3)


def test_the_loop_of_the_other_tests_is_the_replays(late, expected):
    """They play edges into a session in this process; a replay drives the very same."""
    known = {key: value for key, value in late.rig.board_dict().items() if value is not None}
    played = play(late.t_us.tolist(), late.step.tolist(), tail_us=15_000_000, **known)
    assert played.reps == expected.reps
    assert [(rep, t_us) for _, rep, t_us in played.cues] == [(cue.rep, cue.t_us) for cue in expected.cues]


def flat(analysis: Analysis) -> Analysis:
    """The analysis, its document held against the published shape first."""
    check_document(only_document(json.dumps(analysis.to_document(), allow_nan=False)))
    return analysis


@pytest.mark.parametrize("edges", range(1, 6))
@pytest.mark.parametrize("step", [0, 1, -1])
def test_a_handful_of_edges(edges, step):
    times = np.arange(1, edges + 1, dtype=np.int64) * 40_000
    analysis = flat(replay(Recording(times, np.full(edges, step, np.int8), {"pulses_per_rev": "6"})))
    assert (analysis.pulses, analysis.reps, analysis.cues, analysis.sets) == (edges, [], [], [])
    assert analysis.quality.overrun == 0


def without(recording: Recording, *keys: str, **more: str) -> Recording:
    header = {key: value for key, value in recording.header.items() if key not in keys}
    return Recording(recording.t_us, recording.step, {**header, **more})


NEEDS_INERTIA = ("energy_j", "mean_power_w", "peak_power_w", "peak_torque_nm")


def test_everything_is_known_of_a_full_rig(late, expected):
    flat(expected)
    for rep in expected.reps:
        for phase in (rep.concentric, rep.eccentric):
            assert None not in dataclasses.astuple(phase)
            assert phase.peak_force_n > 0
        assert rep.ratio_mean_power is not None
        assert rep.brake_timing is not None


def test_without_the_inertia_what_needs_it_is_null(late):
    """Friction is stated, so whether the athlete braked cannot be known either."""
    analysis = flat(replay(without(late, "inertia_kg_m2")))
    assert len(analysis.reps) >= 6
    for rep in analysis.reps:
        for phase in (rep.concentric, rep.eccentric):
            assert [getattr(phase, name) for name in (*NEEDS_INERTIA, "peak_force_n")] == [None] * 5
            assert phase.duration_s > 0
        assert (rep.ratio_peak_power, rep.ratio_mean_power) == (None, None)
        assert (rep.brake_timing, rep.brake_onset_us, rep.brake_fraction) == (None, None, None)
        assert rep.peak_rad_s > 0


def test_without_inertia_and_friction_the_onset_is_known(late):
    """Where nothing but the athlete slows the wheel the braking is known up to a factor."""
    friction = ("friction_torque_nm", "friction_viscous_nm_s", "friction_drag_nm_s2")
    analysis = flat(replay(without(late, "inertia_kg_m2", *friction)))
    assert {rep.brake_timing for rep in analysis.reps} <= {"early", "inside", "late"}
    assert all(rep.concentric.energy_j is None for rep in analysis.reps)


def test_without_the_drum_radius_force_alone_is_null(late, expected):
    analysis = flat(replay(without(late, "drum_radius_m")))
    for rep, full in zip(analysis.reps, expected.reps, strict=True):
        for phase, known in ((rep.concentric, full.concentric), (rep.eccentric, full.eccentric)):
            assert phase == dataclasses.replace(known, peak_force_n=None)


@pytest.mark.parametrize(
    ("pulses", "seed"),
    [
        (1, 5),
        (1, 4),
        (1, 12),
        (2, 4),
        (24, 4),
    ],
)
def test_other_sensors(pulses, seed):
    recording, truth = default_recording(seed, sensor=preset("clean", pulses), reps=5)
    assert len(flat(replay(recording)).reps) == len(truth["reps"])


def test_settings_in_the_header_are_the_boards(late):
    assert [rep.momentum for rep in replay(late).reps[:3]] == [True, True, False]
    assert not any(rep.momentum for rep in replay(without(late, momentum_reps="0")).reps)
    off = {"cues.late_cue": "false", "cues.drop_off_peak": "0", "cues.drop_off_power": "0"}
    assert replay(without(late, **off)).cues == []
    analysis = replay(without(late, **{"cues.window_cue": "true", "cues.planned_reps": "3"}))
    assert {"window", "set_done"} <= {cue.kind for cue in analysis.cues}
