"""Inertia by falling mass, added inertia and dimensions: simulator's truth, textbook and laboratory examples."""

import math

import numpy as np
import pytest

from brakebeat.calibrate.added import inertia_from_added
from brakebeat.calibrate.fall_edges import Fall, read_falls
from brakebeat.calibrate.fall_given import Given
from brakebeat.calibrate.falling import course_of_fall, friction_known, inertia_of_fall
from brakebeat.calibrate.inertia import Inertia, Masses, two_masses
from brakebeat.calibrate.solids import MATERIALS, Bolts, Part, inertia_of_parts, part_inertia
from brakebeat.calibrate.spin import read_spin
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording, read_recording
from brakebeat.samples import resolve
from brakebeat.simulate import Wheel, preset, sense_fully, spin_down
from brakebeat.simulate.calibrating import falling_mass


def _fall(radius_m, height_m, time_s, magnets):
    """A mass that falls evenly from rest, edge by edge, until it lands."""
    spacing = 2 * math.pi / magnets
    place = np.arange(int(height_m / radius_m / spacing))
    t_s = time_s * np.sqrt((place + 0.5) * spacing * radius_m / height_m)
    return Fall(t_s, place, magnets, time_s, 0.0, None)


def test_a_mass_on_a_wheel_without_friction():
    # jiskha.com, question 1332383561: 400 g on 15 cm falls 2.0 m in 6.5 s; the published 4.10 rad/s in the end
    # give I = 0.923 kg·m² with g = 9.8.
    fall = _fall(0.15, 2.0, 6.5, 24)
    inertia, _, _ = inertia_of_fall(fall, Given(0.4, 0.15, gravity_m_s2=9.8))
    assert inertia == pytest.approx(0.923, abs=0.0015)
    # The same by the laboratory formula I = m·r²·(g·t²/2h − 1).
    assert inertia == pytest.approx(0.4 * 0.15**2 * (9.8 * 6.5**2 / 4.0 - 1), rel=1e-3)


def test_two_masses_cancel_the_friction():
    # Textbook problem 16.33 (statement as on askfilo.com): r = 600 mm, 12 kg falls 3 m in 4.6 s, 24 kg in 3.1 s.
    # Worked out with g = 9.81: a = 0.2836 and 0.6243 m/s², I = 112.12 kg·m².
    falls = [_fall(0.6, 3.0, time_s, 96) for time_s in (4.6, 3.1)]
    givens = [Given(m, 0.6, gravity_m_s2=9.81) for m in (12.0, 24.0)]
    inertia, _, _ = two_masses(falls, givens)
    assert inertia == pytest.approx(112.12, abs=0.3)


def test_friction_from_running_on_is_the_laboratory_formula():
    # I = m·d²/4·N/(N + n)·(g·t²/2h − 1): n turns in the fall, N after it, bearing friction in it
    # (physicshandbook.com/experiments/inertia.htm). Constant friction, cord on a plain axle.
    wheel = Wheel(
        inertia_kg_m2=0.1,
        drum_radius_m=0.02,
        strap_thickness_m=0,
        friction_torque_nm=0.15,
        friction_viscous_nm_s=0,
    )
    motion = falling_mass(wheel, 3.0, 1.2)
    fall_s = motion.stretches[1].t_s[-1] - motion.stretches[1].t_s[0]
    turns = [abs(np.ptp(motion.stretches[i].angle_rad)) / (2 * math.pi) for i in (1, 2)]
    by_formula = 3.0 * 0.02**2 * turns[1] / sum(turns) * (9.80665 * fall_s**2 / 2.4 - 1)
    recording = sense_fully(motion, preset("clean", 6), 1).recording
    fall = read_falls(recording, 1)[0]
    given = friction_known(Given(3.0, 0.02), fall)
    inertia, sigma, _ = inertia_of_fall(fall, given)
    assert by_formula == pytest.approx(0.1, rel=0.02)
    assert inertia == pytest.approx(0.1, abs=2 * sigma)
    assert inertia == pytest.approx(by_formula, rel=0.02)


@pytest.mark.parametrize("kind", ["clean", "dirty"])
def test_falling_mass_recovers_the_truth(kind):
    inside = []
    for seed in range(400, 408):
        rng = np.random.default_rng([seed, 5])
        wheel = Wheel(
            inertia_kg_m2=rng.uniform(0.05, 0.2), strap_thickness_m=float(rng.choice([0.0, 0.0015]))
        )
        mass, left = rng.uniform(2, 5), float(rng.choice([0.0, 0.1]))
        motion = falling_mass(wheel, mass, rng.uniform(0.9, 1.3), left_m=left)
        recording = sense_fully(motion, preset(kind, 6, placement_rad=0.02), seed).recording
        # Scales and caliper are a little off, as they are.
        measured = {"mass": mass * (1 + 0.001 * rng.normal()), "radius": 0.015 * (1 + 0.001 * rng.normal())}
        given = Given(
            measured["mass"], measured["radius"], wheel.strap_thickness_m, left,
            mass_sigma_kg=0.001 * mass, drum_radius_sigma_m=0.001 * 0.015,
        )  # fmt: skip
        fall = read_falls(recording, 1)[0]
        inertia, sigma, parts = inertia_of_fall(fall, friction_known(given, fall))
        assert parts["drum_radius_m"] > 0
        if kind == "clean":
            assert inertia == pytest.approx(wheel.inertia_kg_m2, rel=0.01)
        inside.append(abs(inertia - wheel.inertia_kg_m2) <= 2 * sigma)
    assert np.mean(inside) >= (1.0 if kind == "clean" else 0.75)


def test_radius_uncertainty_goes_through():
    wheel = Wheel(strap_thickness_m=0.0)
    recording = sense_fully(falling_mass(wheel, 3.0, 1.0), preset("clean", 6), 2).recording
    found = Inertia()
    found.add_falling([recording], Masses((3.0,), 1e-6, radius_sigma_m=0.00015, gravity_m_s2=9.80665))
    # m·r·g carries the radius's 1 % straight over (the mass's own inertia is small).
    assert found.result().uncertainty["inertia_kg_m2"] == pytest.approx(0.01 * 0.12, rel=0.1)


def test_without_any_friction_known_it_is_left_out_and_flagged():
    wheel = Wheel(friction_torque_nm=0.05, friction_viscous_nm_s=0.0, strap_thickness_m=0.0)
    sensed = sense_fully(falling_mass(wheel, 3.0, 1.0, runs_on=False), preset("clean", 6), 3)
    header = {"pulses_per_rev": "6", "drum_radius_m": "0.015"}
    found = Inertia()
    found.add_falling([Recording(sensed.recording.t_us, sensed.recording.step, header)], Masses((3.0,)))
    result = found.result() if found._found else None
    assert result is not None
    assert "friction_left_out" in result.flags
    assert result.estimate["inertia_kg_m2"] > wheel.inertia_kg_m2
    # Nothing is known of the friction, and the uncertainty says so.
    assert result.uncertainty["inertia_kg_m2"] > result.estimate["inertia_kg_m2"] - wheel.inertia_kg_m2


def test_added_inertia_from_two_spin_downs():
    inside = []
    for seed in range(420, 426):
        rng = np.random.default_rng([seed, 6])
        friction = {
            "friction_torque_nm": rng.uniform(0.05, 0.2),
            "friction_viscous_nm_s": rng.uniform(0, 0.002),
        }
        bare = Wheel(inertia_kg_m2=rng.uniform(0.05, 0.2), **friction)
        loaded = Wheel(inertia_kg_m2=bare.inertia_kg_m2 + 0.04, **friction)
        spins = [
            read_spin(sense_fully(spin_down(wheel, 25), preset("dirty", 6), seed + i).recording)
            for i, wheel in enumerate((bare, loaded))
        ]
        inertia, sigma, _ = inertia_from_added(*spins, 0.04, 0.0)
        assert inertia == pytest.approx(bare.inertia_kg_m2, rel=0.005)
        inside.append(abs(inertia - bare.inertia_kg_m2) <= 2 * sigma)
    assert np.mean(inside) > 0.6
    with pytest.raises(InputError, match="recording without it first"):
        inertia_from_added(*spins[::-1], 0.04)


def test_worked_examples_of_dimensions():
    # OpenStax, University Physics Volume 1, m58329: disc 2.0 kg, 0.50 m with an annulus 1.0 kg, 0.20 and 0.30 m.
    parts = [Part(0.50, 0.01, mass_kg=2.0), Part(0.30, 0.01, inner_radius_m=0.20, mass_kg=1.0)]
    assert inertia_of_parts(parts, [])[0] == pytest.approx(0.315, abs=0.0005)
    # m58332: 50.0 kg, 1.50 m with 18.0 kg at 1.25 m.
    assert inertia_of_parts([Part(1.5, 0.1, mass_kg=50.0)], [Bolts(1, 18.0, 1.25)])[0] == pytest.approx(
        84.38, abs=0.006
    )
    # m58329: six washers of 20 g at ±5, ±15, ±25 cm.
    bolts = [Bolts(2, 0.02, radius) for radius in (0.05, 0.15, 0.25)]
    assert inertia_of_parts([], bolts)[0] == pytest.approx(0.0035, abs=0.00005)


def test_densities_are_the_sources():
    # m58353: aluminium 2.70e3, iron 7.86e3, brass 8.44e3, lead 1.13e4, concrete 2.40e3, oak 7.10e2, pine 3.73e2 kg/m³.
    published = {
        "aluminium": 2700, "iron": 7860, "brass": 8440, "lead": 11300, "concrete": 2400, "oak": 710, "pine": 373
    }  # fmt: skip
    assert {name: MATERIALS[name].density_kg_m3 for name in published} == published
    # BS 5268-2: 18 mm nominal birch plywood, 17.1 mm at least, is 11.6 kg/m².
    assert MATERIALS["birch-plywood"].density_kg_m3 * 0.0171 == pytest.approx(11.6, rel=0.03)
    mass = 7860 * math.pi * 0.2**2 * 0.01
    assert part_inertia(Part(0.2, 0.01, "iron")) == pytest.approx(0.5 * mass * 0.2**2)


def test_a_rules_error_moves_the_inertia_as_stated():
    exact = Part(0.2, 0.018, "oak", 0.05)
    long = Part(0.2005, 0.018, "oak", 0.05)
    _, _, sources = inertia_of_parts([exact], [], 0.0005)
    assert sources["lengths"] == pytest.approx(part_inertia(long) - part_inertia(exact), rel=0.05)


def test_methods_that_disagree_are_flagged():
    bare, loaded = Wheel(), Wheel(inertia_kg_m2=0.16)
    recordings = [sense_fully(spin_down(w, 25), preset("clean", 6), 1).recording for w in (bare, loaded)]
    found = Inertia()
    found.add_added(recordings, 0.04, 0.0)
    found.add_parts([Part(0.2, 0.01, mass_kg=5.0)], [], 0.0005)
    result = found.result()
    assert "methods_disagree" in result.flags
    # One of them is wrong, so what lies between them is not offered for the rig file.
    assert result.rig_values() == {}
    assert result.uncertainty["inertia_kg_m2"] > 0.009
    agreeing = Inertia()
    agreeing.add_added(recordings, 0.04, 0.0)
    agreeing.add_parts([Part(0.2, 0.01, mass_kg=6.0)], [], 0.0005)
    assert "methods_disagree" not in agreeing.result().flags


def test_the_picture_shows_the_fit_and_not_some_curve():
    motion = falling_mass(Wheel(), 3.0, 1.2)
    recording = sense_fully(motion, preset("clean", 6), 3).recording
    fall = read_falls(recording, 1)[0]
    wheel = Wheel()
    given = friction_known(Given(3.0, wheel.drum_radius_m, wheel.strap_thickness_m), fall)
    course = course_of_fall(fall, given)
    # A parabola leaves degrees over, since the radius shrinks as the strap unwinds.
    assert np.degrees(np.abs(course.left_rad[course.used])).max() < 0.05


@pytest.mark.parametrize("sample", ["clean", "dirty", "encoder", "late"])
def test_a_set_is_no_fall(sample):
    with pytest.raises(InputError, match="before it was fastest, as in a set"):
        read_falls(read_recording(resolve(f"sample:{sample}")), 1)
