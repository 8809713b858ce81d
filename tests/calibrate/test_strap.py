"""Drum, strap and φ = 0 from slow pulls."""

import numpy as np
import pytest

from brakebeat.calibrate.strap import calibrate_strap
from brakebeat.calibrate.zero import calibrate_zero
from brakebeat.errors import InputError
from brakebeat.formats.recording import read_recording
from brakebeat.reference.analyse import analyse
from brakebeat.samples import resolve
from brakebeat.simulate import Motion, Stretch, Wheel, preset, sense_fully
from brakebeat.simulate.calibrating import slow_pulls


def _pulled(seed, wheel, lengths, magnets=6):
    motion = slow_pulls(wheel, lengths, speed_m_s=0.1, pause_s=3)
    return sense_fully(motion, preset("clean", magnets, placement_rad=0.01), seed)


@pytest.mark.parametrize(("magnets", "thickness"), [(6, 0.0015), (6, None), (12, None)])
def test_truth_lies_within_two_stated_uncertainties(magnets, thickness):
    inside, relative = [], []
    for seed in range(500, 505):
        rng = np.random.default_rng(seed)
        wheel = Wheel(drum_radius_m=rng.uniform(0.012, 0.03))
        lengths = [rng.uniform(0.25, 0.35)] * 8
        read = [length + 0.0005 * rng.normal() for length in lengths]
        recording = _pulled(seed, wheel, lengths, magnets).recording
        found = calibrate_strap(recording, read, length_sigma_m=0.0005, strap_thickness_m=thickness)
        error = found.estimate["drum_radius_m"] - wheel.drum_radius_m
        relative.append(abs(error) / wheel.drum_radius_m)
        inside.append(abs(error) <= 2 * found.uncertainty["drum_radius_m"])
    assert np.mean(inside) > 0.5
    assert max(relative) < 0.005


def test_an_encoder_tells_the_radius_from_four_lengths():
    wheel, lengths = Wheel(drum_radius_m=0.02), [0.3] * 4
    motion = slow_pulls(wheel, lengths, speed_m_s=0.1, pause_s=3)
    recording = sense_fully(motion, preset("clean", 96, "encoder"), 1).recording
    found = calibrate_strap(recording, lengths, length_sigma_m=0.0001)
    assert found.estimate["drum_radius_m"] == pytest.approx(0.02, rel=0.005)
    assert found.estimate["strap_thickness_m"] == pytest.approx(0.0015, rel=0.05)


@pytest.mark.parametrize("steadiness", ["ramps", "tremor"])
def test_another_hand_is_covered_too(steadiness):
    """No least jerk: even speed between short ramps, or a hand whose speed wavers by a fifth."""
    inside = []
    for seed in range(540, 544):
        rng = np.random.default_rng(seed)
        wheel = Wheel(drum_radius_m=rng.uniform(0.012, 0.03))
        motion = slow_pulls(wheel, [0.3] * 8, speed_m_s=0.1, pause_s=3)
        stretches = [_changed(part, steadiness, rng) for part in motion.stretches]
        sensed = sense_fully(Motion(wheel, stretches), preset("clean", 6, placement_rad=0.02), seed)
        found = calibrate_strap(sensed.recording, [0.3] * 8, length_sigma_m=0.0005)
        error = found.estimate["drum_radius_m"] - wheel.drum_radius_m
        inside.append(abs(error) <= 2 * found.uncertainty["drum_radius_m"])
    # Fully honest uncertainties would miss two of four less than once in seventy times.
    assert np.mean(inside) > 0.5


def _changed(part, steadiness, rng):
    """A stretch that takes the same time for the same way, along another profile of speed."""
    if part.kind != "hand":
        return part
    x = (part.t_s - part.t_s[0]) / (part.t_s[-1] - part.t_s[0])
    if steadiness == "ramps":
        speed = np.clip(np.minimum(x, 1 - x) / 0.15, 0, 1)
    else:
        speed = x**2 * (1 - x) ** 2 * (1 + 0.2 * np.sin(2 * np.pi * (rng.uniform(3, 6) * x + rng.uniform())))
    way = np.concatenate([[0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(x))])
    turned = np.ptp(part.angle_rad)
    lasts_s = part.t_s[-1] - part.t_s[0]
    return Stretch(
        "hand",
        part.t_s,
        part.angle_rad[0] + turned * way / way[-1],
        turned * speed / way[-1] / lasts_s,
        part.torque_nm,
        part.sense,
    )


def test_a_sensor_full_of_stray_edges_is_refused_not_misread():
    wheel = Wheel(drum_radius_m=0.02)
    motion = slow_pulls(wheel, [0.3] * 5, pause_s=3)
    for seed in range(550, 553):
        recording = sense_fully(motion, preset("dirty", 6), seed).recording
        with pytest.raises(InputError, match="mend the sensor"):
            calibrate_strap(recording, [0.3] * 5)


def test_one_length_tells_no_thickness():
    wheel = Wheel(drum_radius_m=0.02, strap_thickness_m=0.0)
    found = calibrate_strap(_pulled(1, wheel, [1.2]).recording, [1.2])
    assert found.estimate["strap_thickness_m"] == 0
    assert "thickness_inseparable" in found.flags
    assert found.estimate["drum_radius_m"] == pytest.approx(0.02, rel=0.02)


def test_wrong_lengths_are_flagged():
    wheel = Wheel(drum_radius_m=0.02)
    recording = _pulled(2, wheel, [0.3] * 5, 12).recording
    wrong, right = (
        calibrate_strap(recording, [0.3, 0.3, 0.4, 0.3, 0.3]),
        calibrate_strap(recording, [0.3] * 5),
    )
    assert "lengths_disagree" in wrong.flags
    assert wrong.rig_values() == {}
    assert "lengths_disagree" not in right.flags
    assert "drum_radius_m" in right.rig_values()


def test_missing_pauses_are_an_error():
    recording = _pulled(3, Wheel(), [1.2]).recording
    with pytest.raises(InputError, match="the pause between the two pulls does not stand out"):
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


def test_a_slow_pull_is_not_flagged():
    for seed in range(520, 530):
        assert "pulled_fast" not in calibrate_zero(_pulled(seed, Wheel(), [1.0]).recording).flags


def test_an_ordinary_set_is_flagged_since_its_end_is_the_strap_all_in():
    for kind in ("clean", "dirty"):
        recording = read_recording(resolve(f"sample:{kind}"))
        found = calibrate_zero(recording)
        assert found.flags == ["pulled_fast"]
        # Reference: the greatest of the sample's peaks, less than which a turn's average shows.
        fastest_rad_s = max(rep.peak_rad_s for rep in analyse(recording).reps)
        assert found.details["pulled_at_rad_s"] == pytest.approx(fastest_rad_s, rel=0.05)


def test_a_set_taken_for_a_pull_is_flagged_or_is_no_drum():
    recording = read_recording(resolve("sample:clean"))
    found = calibrate_strap(recording, [1.2])
    assert "pulled_fast" in found.flags
    assert found.details["pulled_at_rad_s"] > 70.0
    assert found.rig_values() == {}
    with pytest.raises(InputError, match=r"would be a drum of [0-9.]+ m radius"):
        calibrate_strap(recording, [0.3])


def test_lengths_in_millimetres_are_no_drum():
    recording = _pulled(2, Wheel(drum_radius_m=0.02), [0.3] * 4).recording
    with pytest.raises(InputError, match="give --pulled in m"):
        calibrate_strap(recording, [300.0] * 4)
    assert "pulled_fast" not in calibrate_strap(recording, [0.3] * 4).flags


def test_no_pause_is_an_error():
    recording = _pulled(4, Wheel(), [1.0]).recording
    with pytest.raises(InputError, match="--at"):
        calibrate_zero(recording, 0.0)
