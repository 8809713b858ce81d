"""The greatest power where the torque changes once: right on a change of its own kind, within limits in dirt."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from brakebeat.bench.accuracy_table.conditions import CONDITIONS
from brakebeat.formats.rig import Rig
from brakebeat.reference import analyse
from brakebeat.reference.figures.one_change import changes, speed_covariance
from brakebeat.reference.figures.phases import Phase, greatest_mean
from brakebeat.reference.figures.stroke_edges import StrokeEdges
from brakebeat.reference.model.cosine_step import CosineStep
from brakebeat.reference.rig_physics import Physics

INERTIA_KG_M2 = 0.12


@given(st.floats(-0.2, 1.0), st.floats(0.02, 0.5))
def test_a_steps_integrals(x, length):
    def step(t):
        return 0.5 - 0.5 * np.cos(np.pi * np.clip(t / length, 0.0, 1.0))

    found = CosineStep.after(np.array(x), np.array(length))
    end, bend = max(x, 0.0), [min(max(x, 0.0), length)]
    for value, wanted in (
        (found.speed, step),
        (found.way, lambda t: (x - t) * step(t)),
        (found.late_speed, lambda t: t * step(t)),
        (found.late_way, lambda t: (x - t) * t * step(t)),
    ):
        assert float(value) == pytest.approx(quad(wanted, 0.0, end, points=bend)[0], rel=1e-6, abs=1e-9)


@given(st.floats(0.01, 1.0), st.floats(0.01, 1.0))
def test_the_speeds_covariance_is_its_integral(s, x):
    wanted, _ = quad(lambda u: (s - u) * (x - u) ** 2 / 2.0, 0.0, min(s, x))
    assert speed_covariance(np.array([s]), np.array([x]))[0, 0] == pytest.approx(wanted, rel=1e-6)


def braked(begun_s, length_s):
    """A wheel at 45 rad/s whose brake comes along half a cosine, up to standstill: phase and edges of six magnets."""
    t_s = np.arange(0.0, 3.0, 1e-4)
    grown = 0.5 - 0.5 * np.cos(np.pi * np.clip((t_s - begun_s) / length_s, 0.0, 1.0))
    accel = -70.0 * grown
    speed = 45.0 + np.append(0.0, np.cumsum(0.5 * (accel[1:] + accel[:-1]))) * 1e-4
    stop = int(np.argmax(speed <= 0.0))
    t_s, accel, speed = t_s[:stop], accel[:stop], speed[:stop]
    angle = np.append(0.0, np.cumsum(0.5 * (speed[1:] + speed[:-1]))) * 1e-4
    place = np.arange(0.3, angle[-1], np.pi / 3.0)
    edges = StrokeEdges(np.interp(place, angle, t_s), place, np.full(len(place), 1e-3))
    work = -0.5 * INERTIA_KG_M2 * speed**2
    rows = slice(None, None, 10)
    phase = Phase(t_s[rows], angle[rows], speed[rows], accel[rows], -1)
    return phase, edges, greatest_mean(t_s, work)


@given(st.floats(0.2, 0.4), st.floats(0.03, 0.3))
def test_a_brake_of_its_own_kind(begun, length):
    phase, edges, true_w = braked(begun, length)
    physics = Physics(Rig(pulses_per_rev=6, inertia_kg_m2=INERTIA_KG_M2))
    told = changes(edges, phase, physics, begun + length)
    mean, sd = told.mean_power_w()
    assert told.weight.sum() == pytest.approx(1.0)
    assert mean == pytest.approx(true_w, abs=4.0 * sd + 0.005 * true_w)
    assert sd < 0.02 * true_w
    onset = begun + length * np.arccos(1.0 - 2.0 * 0.1) / np.pi
    assert told.mean_onset_s() == pytest.approx(onset, abs=0.015)


def test_too_few_edges_tell_nothing():
    phase, edges, _ = braked(0.3, 0.1)
    physics = Physics(Rig(pulses_per_rev=6, inertia_kg_m2=INERTIA_KG_M2))
    assert changes(edges.within(0.0, 0.2, 5), phase, physics, 0.4) is None


@pytest.mark.parametrize(
    ("kind", "seed", "limit"),
    [
        # By the spline alone 8.4, 8.2 and 9.1 % off in dirt, where it blurred a brake or took noise for power, and 2.7
        # without; the limits are the project's own.
        ("dirty-6", 2_107_021, 0.07),
        ("dirty-6", 2_107_018, 0.07),
        ("dirty-6", 2_107_005, 0.07),
        ("clean-6", 2_106_009, 0.02),
        # The greatest of every course on its own took a broad top's noise for power: 9.8 and 7.2 %.
        ("dirty-6", 2_907_018, 0.07),
        ("dirty-6", 2_907_039, 0.07),
    ],
)
def test_powers_that_the_spline_had_wrong(kind, seed, limit):
    sensed = CONDITIONS[kind].sensed(seed)
    for rep, true in zip(analyse(sensed.recording).reps, sensed.truth["reps"], strict=True):
        for name in ("concentric", "eccentric"):
            off = getattr(rep, name).peak_power_w - true[name]["peak_power_w"]
            assert abs(off) < limit * true[name]["peak_power_w"], (rep.index, name)
            assert abs(off) < 3.5 * rep.uncertainty[f"{name}.peak_power_w"], (rep.index, name)


def test_a_light_wheel_is_pulled_hardest_while_the_pull_comes():
    # Changes of a torque that is steady otherwise were asked of what follows, and said 15 to 35 % less.
    sensed = CONDITIONS["varied-6"].sensed(4_324_013)
    pairs = zip(analyse(sensed.recording).reps, sensed.truth["reps"], strict=True)
    errors = [rep.concentric.peak_power_w / true["concentric"]["peak_power_w"] - 1.0 for rep, true in pairs]
    assert max(map(abs, errors[1:])) < 0.07


def test_a_light_wheels_pull_does_not_leak_into_the_brake():
    # A spline that may change by no more than usual behind a turnaround bends before it: onsets 0.14 of the way off.
    sensed = CONDITIONS["varied-6"].sensed(4_324_002)
    pairs = zip(analyse(sensed.recording).reps, sensed.truth["reps"], strict=True)
    assert max(abs(rep.brake_fraction - true["brake_fraction"]) for rep, true in pairs) < 0.06
