"""The truth document against its definitions, recomputed by brute force from the motion."""

from __future__ import annotations

import itertools
import json

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from brakebeat.results import split_sets
from brakebeat.simulate import (
    NO_SPREAD,
    Athlete,
    RepPlan,
    Sensed,
    SessionPlan,
    SetPlan,
    Settings,
    Wheel,
    default_recording,
    default_sensed,
    draw_plan,
    hard_cases,
    preset,
    simulate,
)
from brakebeat.simulate.truth import true_reps

STEP_S = 2e-5


def _grid(sensed: Sensed, from_us: int, until_us: int) -> tuple[np.ndarray, ...]:
    """Uniform time, angle from phi = 0, speed and the athlete's torque, all positive, over a phase."""
    t = np.arange(from_us * 1e-6, until_us * 1e-6, STEP_S)
    motion = sensed.motion
    return (
        t,
        np.abs(motion.angle_rad(t)),
        np.abs(motion.speed_rad_s(t)),
        np.abs(motion.athlete_torque_nm(t)),
    )


def _greatest_running_mean(values: np.ndarray) -> float:
    width = round(0.05 / STEP_S)
    total = np.concatenate([[0.0], np.cumsum(values)])
    return float((total[width:] - total[:-width]).max() / width)


@pytest.fixture(scope="module", params=[11, 12])
def sensed(request: pytest.FixtureRequest) -> Sensed:
    return default_sensed(request.param, reps=5, late=(3,), pauses_s=(0.0, 0.6, 0.0))


@pytest.mark.parametrize("phase", ["concentric", "eccentric"])
def test_phase_figures_by_brute_force(sensed: Sensed, phase: str) -> None:
    wheel = sensed.motion.wheel
    for rep in sensed.truth["reps"]:
        ends = ("start_us", "extension_us") if phase == "concentric" else ("extension_us", "end_us")
        _t, angle, speed, torque = _grid(sensed, rep[ends[0]], rep[ends[1]])
        figures = rep[phase]
        energy = float(np.sum(torque * speed) * STEP_S)
        assert figures["duration_s"] == pytest.approx((rep[ends[1]] - rep[ends[0]]) * 1e-6, abs=2e-6)
        assert figures["energy_j"] == pytest.approx(energy, rel=5e-4)
        assert figures["mean_power_w"] == pytest.approx(energy / figures["duration_s"], rel=5e-4)
        assert figures["peak_power_w"] == pytest.approx(_greatest_running_mean(torque * speed), rel=5e-4)
        assert figures["peak_torque_nm"] == pytest.approx(_greatest_running_mean(torque), rel=5e-4)
        armed = angle >= 0.5
        radius = wheel.drum_radius_m + wheel.strap_thickness_m * angle[armed] / (2.0 * np.pi)
        assert figures["peak_force_n"] == pytest.approx(
            _greatest_running_mean(torque[armed] / radius), rel=5e-4
        )


def test_angles_peak_and_onset_by_brute_force(sensed: Sensed) -> None:
    for rep in sensed.truth["reps"]:
        t, angle, speed, _ = _grid(sensed, rep["start_us"], rep["extension_us"])
        assert rep["peak_rad_s"] == pytest.approx(speed.max(), rel=1e-5)
        assert rep["peak_us"] * 1e-6 == pytest.approx(t[np.argmax(speed)], abs=1e-3)
        assert rep["concentric_rad"] == pytest.approx(angle[0], abs=1e-4)
        assert angle[-1] < 2.0 * STEP_S * speed[-1]
        t, angle, _, torque = _grid(sensed, rep["extension_us"], rep["end_us"])
        assert rep["eccentric_rad"] == pytest.approx(angle[-1], abs=1e-4)
        peak = int(np.argmax(torque))
        onset = int(np.flatnonzero(torque[:peak] <= 0.1 * torque[peak])[-1]) + 1
        assert rep["brake_onset_us"] * 1e-6 == pytest.approx(t[onset], abs=1e-4)
        assert rep["brake_fraction"] == pytest.approx(angle[onset] / rep["concentric_rad"], abs=2e-4)


def test_torque_is_what_turns_the_wheel(sensed: Sensed) -> None:
    """I·α = ± torque − T, α from the speed by differences: the torque of the truth is the motion's own."""
    wheel = sensed.motion.wheel
    for rep in sensed.truth["reps"]:
        for ends, sign in ((("start_us", "extension_us"), 1), (("extension_us", "end_us"), -1)):
            _t, _, speed, torque = _grid(sensed, rep[ends[0]] + 2000, rep[ends[1]] - 2000)
            alpha = (speed[100:] - speed[:-100]) / (100 * STEP_S)
            friction = wheel.friction_torque_nm + wheel.friction_viscous_nm_s * speed[50:-50]
            assert np.abs(sign * (wheel.inertia_kg_m2 * alpha + friction) - torque[50:-50]).max() < 0.1


def test_reps_alternate_and_follow(sensed: Sensed) -> None:
    reps = sensed.truth["reps"]
    assert [rep["index"] for rep in reps] == list(range(5))
    assert [rep["momentum"] for rep in reps] == [True, True, False, False, False]
    for before, after in itertools.pairwise(reps):
        assert after["sense"] == -before["sense"]
        assert after["start_us"] >= before["end_us"]
        assert after["concentric_rad"] == pytest.approx(before["eccentric_rad"])
    # Two pauses are none (but for rounding), one is 0.6 s (but for its spread).
    gaps = [after["start_us"] - before["end_us"] for before, after in itertools.pairwise(reps)]
    assert gaps[0] == 0
    assert 200_000 < gaps[1] < 1_000_000


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    fraction=st.floats(0.15, 0.75),
    ramp_s=st.floats(0.03, 0.12),
    effort=st.floats(0.4, 1.0),
    stop_rad=st.floats(30.0, 45.0),
)
def test_the_plan_is_kept(fraction: float, ramp_s: float, effort: float, stop_rad: float) -> None:
    """Onset and stop come where the plan wants them; a brake beyond the athlete's strength stops later."""
    rep = RepPlan(effort=effort, brake_fraction=fraction, brake_ramp_s=ramp_s, stop_rad=stop_rad)
    plan = SessionPlan(sets=(SetPlan((rep,)),), start_rad=38.0)
    motion = simulate(Wheel(), Athlete(), plan, 3)
    reps, incomplete = true_reps(motion, Settings(), lambda t: t * 1e6)
    assert incomplete == 0
    assert reps[0].rep.brake_fraction == pytest.approx(fraction, abs=3e-3)
    strongest_nm = Athlete().brake_force_n * Wheel().radius_m(stop_rad)
    braked_nm = max(float(-s.torque_nm.min()) for s in motion.stretches)
    if braked_nm < 0.98 * strongest_nm:
        assert reps[0].rep.eccentric_rad == pytest.approx(stop_rad, abs=5e-3)
    else:
        assert stop_rad - 5e-3 < reps[0].rep.eccentric_rad < stop_rad + 10.0


def test_late_angle_and_timing() -> None:
    _, truth = default_recording(
        3, reps=4, brake_fractions=(0.05, 0.25, 0.45, 0.9), spread=NO_SPREAD, settings=Settings(0.25, 0.10, 0)
    )
    assert [rep["brake_timing"] for rep in truth["reps"]] == ["early", "inside", "late", "late"]
    for rep in truth["reps"][:2]:
        assert rep["late_us"] > rep["brake_onset_us"]
    for rep in truth["reps"][2:]:
        assert rep["extension_us"] < rep["late_us"] < rep["brake_onset_us"]


def test_never_braked_has_no_onset() -> None:
    _, truth = hard_cases()["never_braked"](5)
    timings = [rep["brake_timing"] for rep in truth["reps"]]
    assert timings[3] == timings[5] == "none"
    assert truth["reps"][3]["brake_fraction"] is None
    assert "none" not in timings[:3] + timings[6:]


def test_truth_is_plain_json() -> None:
    _, truth = default_recording(8, sensor=preset("dirty", 12))
    assert json.loads(json.dumps(truth, allow_nan=False)) == truth


def test_sets_from_rests() -> None:
    _, truth = default_recording(2, reps=3, sets=3, rest_s=12.0)
    assert [rep["momentum"] for rep in truth["reps"]] == [True, True, False] * 3
    reps, _ = true_reps(
        simulate(Wheel(), Athlete(), draw_plan(2, reps=3, sets=3, rest_s=12.0), 2),
        Settings(),
        lambda t: t * 1e6,
    )
    assert split_sets([rep.rep for rep in reps], 10.0) == [(0, 2), (3, 5), (6, 8)]


@pytest.mark.parametrize("name", hard_cases())
def test_every_hard_case_runs(name: str) -> None:
    recording, truth = hard_cases()[name](3)
    assert (np.diff(recording.t_us) >= 0).all()
    assert len(recording.t_us) == truth["pulses"]
    assert truth["reps"]
    assert recording.rig.pulses_per_rev == 6
    wanted = {"starts_in_motion": 1, "cut_in_motion": 1, "let_go": 1}
    assert truth["incomplete"] == wanted.get(name, 0)


def test_hard_cases_are_what_they_say() -> None:
    cases = hard_cases()
    assert max(rep["peak_rad_s"] for rep in cases["low_effort"](1)[1]["reps"][2:]) < 45.0
    ranges = [rep["eccentric_rad"] for rep in cases["half_reps"](1)[1]["reps"]]
    assert min(ranges) < 0.6 * max(ranges)
    recording, truth = cases["rest_beyond_a_wrap"](1)
    assert np.diff(recording.t_us).max() > 2**30
    assert "ticks_wrap" not in recording.header
    recording, truth = cases["wrap_in_a_rep"](1)
    assert recording.t_us[0] < 2**30 < recording.t_us[-1]
    wrapped = [rep for rep in truth["reps"] if rep["start_us"] < 2**30]
    assert 0 < len(wrapped) < len(truth["reps"])
    sensed = cases["starts_in_motion"].sensed(1)
    assert abs(sensed.motion.speed_rad_s(2.7)) > 10.0
    assert sensed.recording.t_us[0] < 200_000
    recording, truth = cases["rest_gap"](1)
    gaps = [b["start_us"] - a["end_us"] for a, b in zip(truth["reps"], truth["reps"][1:], strict=False)]
    assert sorted(round(gap / 1e6) for gap in gaps)[-2:] == [9, 11]


def test_double_pull_dips() -> None:
    """The wheel speeds up, lets go, speeds up again: two humps of the athlete's torque within one pull."""
    sensed = hard_cases()["double_pulls"].sensed(1)
    pulled = [s for s in sensed.motion.stretches if s.kind == "concentric"][3]
    torque = pulled.torque_nm
    middle = torque[(pulled.along_rad > -0.6 * 38) & (pulled.along_rad < -0.45 * 38)]
    assert middle.max() < 0.01 * torque.max()
    assert np.abs(pulled.speed_rad_s).min(initial=99, where=pulled.along_rad > -30) > 5.0


def test_slap_is_there_and_is_not_the_onset() -> None:
    with_slap = hard_cases()["strap_slap"].sensed(1)
    back = [s for s in with_slap.motion.stretches if s.kind == "eccentric"][3]
    early = back.along_rad < 3.0
    assert -back.torque_nm[early].min() > 4.0
    assert with_slap.truth["reps"][3]["brake_fraction"] > 0.15
