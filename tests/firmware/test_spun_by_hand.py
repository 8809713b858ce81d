"""A wheel that nobody brakes and no strap brings back is no rep, wherever it comes; reps beside it stay."""

import dataclasses

import numpy as np
import pytest

from brakebeat.board import replay
from brakebeat.formats.recording import Recording
from brakebeat.results import Analysis
from brakebeat.simulate import Sensor, Wheel, default_sensed, draw_plan, preset, sense_fully, spin_down

SENSORS = {
    "1": preset("clean", 1),
    "2": preset("clean", 2),
    "6": preset("clean", 6),
    "24": preset("clean", 24),
    "6 dirty": preset("dirty", 6),
    "96 counts": preset("clean", 96, "encoder"),
}
REST_US = 15_000_000


def spun(sensor: Sensor, speed_rad_s: float = 30.0, seed: int = 3_700_000, push_s: float = 1.5) -> Recording:
    return sense_fully(spin_down(Wheel(), speed_rad_s, push_s=push_s), sensor, seed).recording


def reps_of(sensor: Sensor, seed: int) -> Recording:
    """A set of four reps."""
    return default_sensed(seed, sensor=sensor, plan=draw_plan(seed, reps=4)).recording


def in_a_row(*parts: Recording) -> Recording:
    """Recordings one after the other, a rest between each and the next."""
    times: list[np.ndarray] = []
    for part in parts:
        shift = int(times[-1][-1]) + REST_US - int(part.t_us[0]) if times else 0
        times.append(part.t_us + shift)
    steps = np.concatenate([part.step for part in parts])
    return dataclasses.replace(parts[0], t_us=np.concatenate(times), step=steps)


def told(recording: Recording) -> Analysis:
    return replay(recording)


@pytest.mark.parametrize("name", SENSORS)
@pytest.mark.parametrize("speed_rad_s", [15.0, 30.0, 60.0])
def test_a_spin_is_no_rep(name, speed_rad_s):
    found = told(spun(SENSORS[name], speed_rad_s))
    assert found.reps == []
    assert found.quality.incomplete == 1


@pytest.mark.parametrize("name", SENSORS)
def test_a_spin_that_was_under_way_is_no_rep(name):
    found = told(spun(SENSORS[name].but(from_s=3.0)))
    assert found.reps == []
    assert found.quality.incomplete == 1


@pytest.mark.parametrize("push_s", [0.5, 3.0])
@pytest.mark.parametrize("name", ["1", "6"])
def test_a_spin_is_no_rep_however_long_the_hand_pushes(name, push_s):
    assert told(spun(SENSORS[name], push_s=push_s)).reps == []


@pytest.mark.parametrize("name", SENSORS)
def test_friction_need_not_be_known(name):
    recording = spun(SENSORS[name])
    header = {
        key: value for key, value in recording.header.items() if not key.startswith(("friction", "inertia"))
    }
    assert told(dataclasses.replace(recording, header=header)).reps == []


@pytest.mark.parametrize("name", SENSORS)
def test_a_set_after_a_spin_is_whole(name):
    reps = reps_of(SENSORS[name], 3_700_001)
    found = told(in_a_row(spun(SENSORS[name]), reps))
    assert len(found.reps) == 4
    assert found.sets == [(0, 3)]
    assert [rep.momentum for rep in found.reps] == [True, True, False, False]
    assert found.quality.incomplete == 1


@pytest.mark.parametrize("name", SENSORS)
def test_a_spin_between_two_sets_takes_none_of_their_reps(name):
    """Nor their first edges, though so long a spin is thinned; what was known of the strap before it is forgotten."""
    first, second = reps_of(SENSORS[name], 3_700_002), reps_of(SENSORS[name], 3_700_003)
    alone = told(second)
    found = told(in_a_row(first, spun(SENSORS[name]), second))
    assert len(found.reps) == 8
    assert found.sets == [(0, 3), (4, 7)]
    assert found.quality.incomplete == 1
    for rep, other in zip(found.reps[4:], alone.reps, strict=True):
        assert rep.concentric_rad == pytest.approx(other.concentric_rad, abs=1.5)
