"""Drum, strap and φ = 0 from slow pulls."""

import numpy as np
import pytest

from brakebeat.calibrate.strap import calibrate_strap
from brakebeat.calibrate.zero import calibrate_zero
from brakebeat.errors import InputError
from brakebeat.simulate import Wheel, preset, sense_fully
from brakebeat.simulate.calibrating import slow_pulls


def _pulled(seed, wheel, lengths, magnets=6):
    motion = slow_pulls(wheel, lengths, speed_m_s=0.1, pause_s=3)
    return sense_fully(motion, preset("clean", magnets, placement_rad=0.01), seed)


@pytest.mark.parametrize(("magnets", "thickness"), [(6, 0.0015), (6, None), (12, None)])
def test_truth_lies_within_two_stated_uncertainties(magnets, thickness):
    inside, relative = [], []
    for seed in range(500, 512):
        rng = np.random.default_rng(seed)
        wheel = Wheel(drum_radius_m=rng.uniform(0.012, 0.03))
        lengths = [rng.uniform(0.25, 0.35)] * 4
        read = [length + 0.0005 * rng.normal() for length in lengths]
        recording = _pulled(seed, wheel, lengths, magnets).recording
        found = calibrate_strap(recording, read, length_sigma_m=0.0005, strap_thickness_m=thickness)
        error = found.estimate["drum_radius_m"] - wheel.drum_radius_m
        relative.append(abs(error) / wheel.drum_radius_m)
        inside.append(abs(error) <= 2 * found.uncertainty["drum_radius_m"])
    assert np.mean(inside) > 0.75
    assert np.median(relative) < (0.005 if thickness else 0.03)


def test_one_length_tells_no_thickness():
    wheel = Wheel(drum_radius_m=0.02, strap_thickness_m=0.0)
    found = calibrate_strap(_pulled(1, wheel, [1.2]).recording, [1.2])
    assert found.estimate["strap_thickness_m"] == 0
    assert "thickness_inseparable" in found.flags
    assert found.estimate["drum_radius_m"] == pytest.approx(0.02, rel=0.02)


def test_wrong_lengths_are_flagged():
    wheel = Wheel(drum_radius_m=0.02)
    recording = _pulled(2, wheel, [0.3] * 5, 24).recording
    assert "lengths_disagree" in calibrate_strap(recording, [0.3, 0.3, 0.4, 0.3, 0.3]).flags
    assert "lengths_disagree" not in calibrate_strap(recording, [0.3] * 5).flags


def test_missing_pauses_are_an_error():
    recording = _pulled(3, Wheel(), [1.2]).recording
    with pytest.raises(InputError, match="pauses do not stand out"):
        calibrate_strap(recording, [0.6, 0.6])
    with pytest.raises(InputError, match="--pulled"):
        calibrate_strap(recording, [])


def test_zero_is_the_edge_nearest_to_the_strap_all_out():
    right = 0
    for seed in range(520, 540):
        sensed = _pulled(seed, Wheel(), [1.0])
        found = calibrate_zero(sensed.recording)
        angle = np.abs(sensed.edges.angle_rad[sensed.stamps.source])
        assert angle[found.estimate["zero_index"]] < 2 * np.pi / 6
        right += int(np.argmin(angle)) == found.estimate["zero_index"]
    assert right == 20


def test_no_pause_is_an_error():
    recording = _pulled(4, Wheel(), [1.0]).recording
    with pytest.raises(InputError, match="--at"):
        calibrate_zero(recording, 0.0)
