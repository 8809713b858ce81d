"""Other athletes on other rigs: long ranges, fast light wheels, brakes that build up until the wheel stands."""

import math

import pytest

from brakebeat.bench.accuracy_table.conditions import CONDITIONS
from brakebeat.board import replay
from brakebeat.simulate import Athlete, Wheel, default_recording


def test_a_turnaround_of_a_thinned_stretch():
    """87 rad each way are more edges of 24 magnets than the board keeps: every second one was stored, and the two on
    either side of a turnaround taken for one magnet, 66 ms off."""
    sensed = CONDITIONS["varied-24"].sensed(4_025_013)
    found, true = replay(sensed.recording).reps, sensed.truth["reps"]
    assert "thinned" in found[1].flags
    assert [rep.end_us for rep in found] == pytest.approx([rep["end_us"] for rep in true], abs=6_000)


def test_a_pull_that_weakens_faster_than_most():
    """A light wheel is soon as fast as the athlete is: it looked as if a magnet had been missed, 88 ms too early."""
    sensed = CONDITIONS["varied-6"].sensed(4_024_001)
    found, true = replay(sensed.recording).reps[0], sensed.truth["reps"][0]
    assert found.start_us == pytest.approx(true["start_us"], abs=25_000)


@pytest.mark.parametrize("seed", [1, 2, 5, 6, 8])
def test_a_brake_that_builds_up_until_the_wheel_stands(seed):
    """The last end of a set, from edges before it alone: 18 to 27 ms late with a brake taken for a steady one."""
    recording, truth = default_recording(
        seed, reps=3, brake_fractions=(0.7,), ramps_s=(0.3,), wheel=Wheel(inertia_kg_m2=0.05)
    )
    found = replay(recording).reps
    assert found[-1].end_us == pytest.approx(truth["reps"][-1]["end_us"], abs=6_000)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_pull_that_ends_at_once(seed):
    """Constant to the dead point: a window that reached over it took 5 to 15 % off the greatest power."""
    athlete = Athlete(force_n=600.0, speed_m_s=math.inf, ease_off=0.0)
    recording, truth = default_recording(
        seed, reps=6, athlete=athlete, wheel=Wheel(drum_radius_m=0.03, strap_thickness_m=0.0), stop_rad=24.0
    )
    found = replay(recording).reps[2:]
    for rep, true in zip(found, truth["reps"][2:], strict=True):
        assert rep.concentric.peak_power_w == pytest.approx(true["concentric"]["peak_power_w"], rel=0.04)
