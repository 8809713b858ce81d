"""The sensor: true edges against the motion, then each fault for itself."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from brakebeat.errors import InputError
from brakebeat.formats.recording import read_recording, write_recording
from brakebeat.simulate import (
    NO_SPREAD,
    PRESETS,
    Athlete,
    Lost,
    Motion,
    RepPlan,
    Sensed,
    Sensor,
    SessionPlan,
    SetPlan,
    Wheel,
    default_recording,
    draw_plan,
    hard_cases,
    preset,
    sense,
    sense_fully,
    simulate,
)
from brakebeat.simulate.edges import TURN_RAD, true_edges
from brakebeat.simulate.faults import BOUNCE, SPURIOUS, TRUE

DEGREE_RAD = math.pi / 180.0
MOTION: Motion = simulate(Wheel(), Athlete(), draw_plan(21, reps=5, pauses_s=(0.0, 0.3), first_sense=-1), 21)

sensors = st.builds(
    Sensor,
    pulses=st.integers(1, 24),
    gives_sense=st.booleans(),
    placement_rad=st.floats(0.0, 0.03),
    hysteresis_rad=st.floats(0.0, 0.05),
    release_rad=st.floats(0.0, 0.05),
    jitter_us=st.floats(0.0, 300.0),
    latency_us=st.floats(0.0, 500.0),
    missed=st.floats(0.0, 0.5),
    bounced=st.floats(0.0, 0.5),
    spurious_per_s=st.floats(0.0, 20.0),
    drift_ppm=st.floats(-200.0, 200.0),
    ticks_wrap=st.none() | st.integers(2**24, 2**32),
)


@settings(max_examples=60, deadline=None)
@given(sensor=sensors, seed=st.integers(0, 2**31))
def test_any_sensor_gives_a_sound_recording(sensor: Sensor, seed: int) -> None:
    sensed = sense_fully(MOTION, sensor, seed)
    times, steps = sensed.recording.t_us, sensed.recording.step
    assert times.dtype == np.int64
    assert steps.dtype == np.int8
    assert (np.diff(times) >= 0).all()
    assert times.min(initial=0) >= 0
    assert set(np.unique(steps)) <= ({-1, 1} if sensor.gives_sense else {0})
    counted = sensed.truth["recorded"]
    assert counted["true"] + counted["bounce"] + counted["spurious"] == len(times) == sensed.truth["pulses"]
    assert counted["true"] <= sensed.truth["passed"]
    assert abs(sum(sensed.truth["magnet_offsets_by_id_rad"])) < 1e-9
    assert max(map(abs, sensed.truth["magnet_offsets_by_id_rad"])) <= sensor.placement_rad + 1e-12


@settings(max_examples=40, deadline=None)
@given(
    pulses=st.integers(1, 24),
    phase_rad=st.floats(0.0, 6.2),
    hysteresis_rad=st.floats(0.0, 0.05),
    release_rad=st.floats(0.0, 0.05),
)
def test_magnets_passed_fit_the_angle_travelled(
    pulses: int, phase_rad: float, hysteresis_rad: float, release_rad: float
) -> None:
    sensor = Sensor(pulses=pulses, hysteresis_rad=hysteresis_rad, release_rad=release_rad)
    edges = true_edges(MOTION, sensor, np.zeros(pulses), phase_rad)
    assert (np.diff(edges.t_s) >= 0.0).all()
    for stretch in MOTION.stretches:
        if stretch.kind == "idle":
            continue
        within = (edges.t_s >= stretch.t_s[0]) & (edges.t_s <= stretch.t_s[-1])
        travelled = abs(float(stretch.angle_rad[-1] - stretch.angle_rad[0]))
        # A stretch may begin in the field of a magnet that has fired already: one edge fewer.
        held = 1.0 if hysteresis_rad + release_rad > 0.0 else 0.0
        assert -1.0 - held - 1e-9 <= within.sum() - travelled * pulses / TURN_RAD <= 1.0 + 1e-9
        # One after the other, along the sense of turning.
        marks = edges.mark[within]
        assert ((np.diff(marks) - stretch.sense) % pulses == 0).all()


@settings(max_examples=40, deadline=None)
@given(pulses=st.integers(2, 2400), share=st.floats(0.0, 0.4), seed=st.integers(0, 1000))
def test_encoder_sum_is_the_net_angle(pulses: int, share: float, seed: int) -> None:
    pitch = TURN_RAD / pulses
    sensor = preset("perfect", pulses, "encoder", hysteresis_rad=min(0.1, share * pitch))
    sensed = sense_fully(MOTION, sensor, seed)
    angle = MOTION.angle_rad(np.array([MOTION.start_s, MOTION.end_s]))
    net = float(angle[1] - angle[0]) / pitch
    # A line counts half the play after it.
    play = sensor.hysteresis_rad / pitch
    assert abs(int(sensed.recording.step.sum()) - net) <= 1.0 + 0.5 * play + 1e-9
    # At each edge the running sum is the wheel's place, but for the play and the line it started between.
    place = np.cumsum(sensed.recording.step.astype(int)) * pitch + angle[0]
    here = MOTION.angle_rad(sensed.edges.t_s)
    assert np.abs(place - here).max() <= 1.5 * pitch


def test_edges_lie_on_the_motion() -> None:
    """Times against brentq on the motion itself; angles against magnet, sense and hysteresis."""
    sensor = Sensor(pulses=5, hysteresis_rad=0.03)
    offsets = np.array([0.01, -0.02, 0.0, 0.015, -0.005])
    edges = true_edges(MOTION, sensor, offsets, 0.4)
    assert np.abs(MOTION.angle_rad(edges.t_s) - edges.angle_rad).max() < 1e-7
    even = 0.4 + TURN_RAD * edges.mark / 5 + offsets[edges.mark] - edges.sense * 0.015
    turns = (edges.angle_rad - even) / TURN_RAD
    # Magnets are spaced evenly but for their offsets.
    assert np.abs(turns - np.round(turns)).max() < 1e-9
    for t, angle in zip(edges.t_s[::37], edges.angle_rad[::37], strict=True):
        found = brentq(lambda x, a=angle: float(MOTION.angle_rad(x)) - a, t - 1e-3, t + 1e-3, xtol=1e-12)
        assert t == pytest.approx(found, abs=1e-9)


def test_hysteresis_parts_the_senses() -> None:
    edges = true_edges(MOTION, Sensor(pulses=6, hysteresis_rad=0.04), np.zeros(6), 0.1)
    there = np.unique(np.round(edges.angle_rad[edges.sense > 0] % (TURN_RAD / 6), 9))
    back = np.unique(np.round(edges.angle_rad[edges.sense < 0] % (TURN_RAD / 6), 9))
    assert len(there) == len(back) == 1
    assert back[0] - there[0] == pytest.approx(0.04, abs=1e-8)


@pytest.mark.parametrize(("beyond_rad", "edges"), [(-0.05, 0), (-0.002, 1), (0.0, 1), (0.02, 1), (0.05, 2)])
def test_turning_in_front_of_a_magnet(beyond_rad: float, edges: int) -> None:
    """Short of the magnet: no edge. In its field: one for both passes. Past it: one each way."""
    sensor = Sensor(pulses=1, hysteresis_rad=0.02, release_rad=0.04)
    rep = RepPlan(stop_rad=20.0)
    plan = SessionPlan(sets=(SetPlan((rep, rep)),), start_rad=20.0)
    motion = simulate(Wheel(), Athlete(), plan, 1)
    turn_rad = next(float(s.angle_rad[-1]) for s in motion.stretches if s.kind == "eccentric")
    near = true_edges(motion, sensor, np.zeros(1), turn_rad - beyond_rad)
    at_turn = np.abs(near.angle_rad - turn_rad) < 0.5
    assert int(at_turn.sum()) == edges


def test_rest_in_front_of_a_magnet_fires_at_most_once() -> None:
    sensed = hard_cases()["turns_on_a_magnet"].sensed(2)
    ends = [s for s in sensed.motion.stretches if s.kind == "eccentric"][:-1]
    for stretch in ends:
        near = np.abs(sensed.edges.t_s - stretch.t_s[-1]) < 0.02
        assert near.sum() <= 1


def _with(**changes: float) -> Sensed:
    return sense_fully(MOTION, preset("perfect", 24, phase_rad=0.05, **changes), 5)


def test_missed_edges_are_missed_in_proportion() -> None:
    sensed = _with(missed=0.2)
    passed, kept = sensed.truth["passed"], sensed.truth["recorded"]["true"]
    sigma = math.sqrt(passed * 0.2 * 0.8)
    assert abs(passed - kept - 0.2 * passed) < 4.0 * sigma


def test_bounces_follow_their_edge() -> None:
    sensed = _with(bounced=0.3)
    stamps = sensed.stamps
    bounces = stamps.kind == BOUNCE
    true_us = dict(zip(stamps.source[stamps.kind == TRUE], stamps.t_us[stamps.kind == TRUE], strict=True))
    late = stamps.t_us[bounces] - np.array([true_us[parent] for parent in stamps.source[bounces]])
    assert late.min() >= 19
    assert late.max() <= 801
    counts = np.unique(stamps.source[bounces], return_counts=True)[1]
    assert set(counts) == {1, 2, 3}
    expected = 0.3 * len(true_us)
    assert abs(len(counts) - expected) < 4.0 * math.sqrt(expected)


def test_spurious_edges_come_at_their_rate() -> None:
    sensed = _with(spurious_per_s=50.0)
    expected = 50.0 * (MOTION.end_s - MOTION.start_s)
    assert abs(int((sensed.stamps.kind == SPURIOUS).sum()) - expected) < 4.0 * math.sqrt(expected)


def test_jitter_and_latency() -> None:
    sensed = _with(jitter_us=40.0, latency_us=300.0)
    error = sensed.stamps.t_us - sensed.edges.t_s[sensed.stamps.source] * 1e6
    # The counter cuts off half a microsecond on average.
    assert error.mean() == pytest.approx(299.5, abs=4.0 * 40.0 / math.sqrt(len(error)))
    assert error.std() == pytest.approx(40.0, rel=0.1)
    perfect = _with()
    error = perfect.stamps.t_us - perfect.edges.t_s[perfect.stamps.source] * 1e6
    assert -1.0 < error.min() <= error.max() <= 1e-6


def test_drift_stretches_the_clock() -> None:
    slow, fast = _with(), _with(drift_ppm=1000.0)
    assert np.abs(fast.recording.t_us - slow.recording.t_us * 1.001).max() <= 2.0
    for a, b in zip(slow.truth["reps"], fast.truth["reps"], strict=True):
        assert b["start_us"] == pytest.approx(a["start_us"] * 1.001, abs=1.0)


def test_lost_magnet_is_silent_and_alone() -> None:
    sensed = sense_fully(MOTION, preset("perfect", 6, phase_rad=0.3, lost=(Lost(2, 4.0, 7.0),)), 1)
    marks = sensed.edges.mark[sensed.stamps.source]
    times = sensed.edges.t_s[sensed.stamps.source]
    window = (times >= 4.0) & (times <= 7.0)
    assert set(marks[window]) == {0, 1, 3, 4, 5}
    assert 2 in marks[~window]


def test_wrapped_file_comes_back(tmp_path) -> None:
    recording = sense(MOTION, preset("dirty", 6, ticks_wrap=2**22, first_count=2**22 - 3_000_000), 3)
    assert recording.t_us[0] < 2**22 < recording.t_us[-1]
    write_recording(tmp_path / "wrapped.csv", recording.t_us, recording.step, recording.header)
    lines = (tmp_path / "wrapped.csv").read_text().splitlines()
    raw = [int(line.split(",")[0]) for line in lines if line[0].isdigit()]
    assert max(raw) < 2**22
    assert any(b < a for a, b in itertools.pairwise(raw))
    back = read_recording(tmp_path / "wrapped.csv")
    assert (np.diff(back.t_us) == np.diff(recording.t_us)).all()


def test_offsets_in_order_of_passing() -> None:
    """Told from the first edges alone: a steady turn passes magnet after magnet at its offset."""
    offsets = (0.02, -0.01, 0.015, -0.03, 0.0, 0.005)
    for sense_ in (1, -1):
        plan = SessionPlan(sets=(SetPlan((RepPlan(),)),), first_sense=sense_)
        motion = simulate(Wheel(), Athlete(), plan, 1)
        sensed = sense_fully(motion, preset("perfect", 6, offsets_rad=offsets), 4)
        assert sensed.truth["first_sense"] == sense_
        along = sense_ * sensed.edges.angle_rad[:6]
        residue = along - along[0] - np.arange(6) * TURN_RAD / 6
        assert residue - residue.mean() == pytest.approx(sensed.truth["magnet_offsets_rad"], abs=1e-9)


def test_zero_index_is_the_edge_nearest_zero() -> None:
    for seed in range(1, 6):
        sensed = sense_fully(MOTION, preset("clean", 6), seed)
        zero = sensed.truth["zero_index"]
        t_s = sensed.recording.t_us[zero] * 1e-6
        assert abs(float(MOTION.angle_rad(t_s))) < 0.6 * TURN_RAD / 6
        assert sensed.truth["zero_edge_rad"] == pytest.approx(-float(MOTION.angle_rad(t_s)), abs=0.01)


@pytest.mark.parametrize("name", PRESETS)
def test_seeds_reproduce(name: str) -> None:
    one, truth = default_recording(9, sensor=preset(name), reps=3)
    two, again = default_recording(9, sensor=preset(name), reps=3)
    other, _ = default_recording(10, sensor=preset(name), reps=3)
    assert (one.t_us == two.t_us).all()
    assert truth == again
    assert one.header == two.header
    assert not np.array_equal(one.t_us, other.t_us)


def test_presets_are_what_the_benchmarks_call_them() -> None:
    clean, dirty = PRESETS["clean"], PRESETS["dirty"]
    assert (clean.jitter_us, clean.placement_rad, clean.missed, clean.bounced, clean.spurious_per_s) == (
        5,
        0,
        0,
        0,
        0,
    )
    assert clean.hysteresis_rad == pytest.approx(DEGREE_RAD)
    assert (dirty.jitter_us, dirty.missed, dirty.bounced, dirty.spurious_per_s) == (60, 0.01, 0.05, 0.3)
    assert dirty.placement_rad == pytest.approx(DEGREE_RAD)
    assert dirty.hysteresis_rad == pytest.approx(2 * DEGREE_RAD)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("pulses", 0),
        ("pulses", 25),
        ("missed", 1.1),
        ("bounced", -0.1),
        ("jitter_us", math.nan),
        ("hysteresis_rad", 0.5),
        ("ticks_wrap", 5),
        ("offsets_rad", (0.0,)),
        ("spurious_per_s", math.inf),
    ],
)
def test_impossible_sensors_are_told(field: str, value: object) -> None:
    with pytest.raises(InputError, match=field if field != "pulses" else "magnets"):
        dataclasses.replace(Sensor(), **{field: value})


def test_header_carries_the_rig_but_no_secrets() -> None:
    recording, truth = default_recording(1, wheel=Wheel(0.07), spread=NO_SPREAD, reps=2)
    assert recording.rig.inertia_kg_m2 == 0.07
    assert recording.rig.drum_radius_m == truth["rig"]["drum_radius_m"]
    assert recording.rig.friction_torque_nm == truth["rig"]["friction_torque_nm"]
    assert "zero_index" not in recording.header
    assert "magnet_offsets_rad" not in recording.header
