"""Worked examples of a textbook: OpenStax, University Physics Volume 1, the module named beside each check.

Published figures are rounded: a tolerance is half a unit of the last printed digit unless said otherwise.
"""

import math

import pytest

from brakebeat.mechanics import (
    annulus_inertia_kg_m2,
    disc_inertia_kg_m2,
    friction_torque_nm,
    kinetic_energy_j,
    point_inertia_kg_m2,
    speed_after_work_rad_s,
    spin_down_torque_nm,
    strap_travel_m,
    wound_angle_rad,
)

RAD_S_PER_RPM = 2 * math.pi / 60


def test_solid_disc_pushed_at_the_rim():
    # m58332: merry-go-round of 50.0 kg and 1.50 m, 250 N at the rim.
    inertia = disc_inertia_kg_m2(50.0, 1.50)
    assert inertia == pytest.approx(56.25, abs=0.005)
    assert 250.0 * 1.50 / inertia == pytest.approx(6.67, abs=0.005)
    # The same, pushed from rest for 2.00 s: it turns 13.3 rad in that time, and the work makes 13.3 rad/s.
    angle = 0.5 * (375.0 / inertia) * 2.00**2
    assert speed_after_work_rad_s(inertia, 375.0 * angle) == pytest.approx(13.3, abs=0.05)


def test_disc_with_a_point_mass():
    # m58332: the same with 18.0 kg at 1.25 m.
    extra = point_inertia_kg_m2(18.0, 1.25)
    assert extra == pytest.approx(28.13, abs=0.006)  # exactly 28.125, printed rounded up
    inertia = disc_inertia_kg_m2(50.0, 1.50) + extra
    assert inertia == pytest.approx(84.38, abs=0.006)  # exactly 84.375
    assert 375.0 / inertia == pytest.approx(4.44, abs=0.005)
    assert spin_down_torque_nm(inertia, 0.0, 8.89, 2.00) == pytest.approx(375.0, abs=0.5)


def test_disc_and_point_about_one_axis():
    # m58330: 500 kg disc of 2.0 m with 25 kg at 1.0 m.
    assert disc_inertia_kg_m2(500.0, 2.0) + point_inertia_kg_m2(25.0, 1.0) == pytest.approx(1025.0, abs=0.5)


def test_disc_with_an_annulus():
    # m58329: disc 2.0 kg, 0.50 m; annulus 1.0 kg, 0.20 and 0.30 m; 10 turns a second.
    inertia = disc_inertia_kg_m2(2.0, 0.50) + annulus_inertia_kg_m2(1.0, 0.20, 0.30)
    assert inertia == pytest.approx(0.315, abs=0.0005)
    assert kinetic_energy_j(inertia, 10 * 2 * math.pi) == pytest.approx(621.8, abs=0.05)


def test_six_washers_on_a_rod():
    # m58329: 20 g each at 5, 15 and 25 cm on either side; 5 turns a second.
    inertia = point_inertia_kg_m2([0.020] * 6, [-0.25, -0.15, -0.05, 0.05, 0.15, 0.25])
    assert inertia == pytest.approx(0.0035, abs=0.00005)
    assert kinetic_energy_j(inertia, 5 * 2 * math.pi) == pytest.approx(1.73, abs=0.005)


def test_cord_pulled_off_a_shaft():
    # m58333: 50.0 N on a cord round a shaft of 0.10 m and 2.5e-3 kg·m², 1.0 m unwound.
    assert speed_after_work_rad_s(2.5e-3, 50.0 * 1.0) == pytest.approx(200.0, abs=0.05)
    # The same through the drum: the angle that unwinds 1.0 m, times the torque F·r.
    angle = float(wound_angle_rad(1.0, 0.10))
    assert angle == pytest.approx(10.0)
    assert speed_after_work_rad_s(2.5e-3, 50.0 * 0.10 * angle) == pytest.approx(200.0, abs=0.05)


def test_constant_torque_over_eight_turns():
    # m58333: 12.0 N·m on 30.0 kg·m² for 8 turns; the print has 6.3, the exact value is 6.3413.
    speed = speed_after_work_rad_s(30.0, 12.0 * 8 * 2 * math.pi)
    assert speed == pytest.approx(6.3, abs=0.05)
    assert speed == pytest.approx(6.3413, abs=0.00005)


def test_line_off_a_reel():
    # m58327: reel of 4.50 cm turns 220 rad (35.0 turns) while 9.90 m of line run off (0.045 m × 220).
    assert strap_travel_m(220.0, 0.0450) == pytest.approx(9.90, abs=0.005)
    assert wound_angle_rad(9.90, 0.0450) / (2 * math.pi) == pytest.approx(35.0, abs=0.05)


def test_spin_down_to_rest():
    # m58332: 100.0 kg·m² from 500.0 turns a minute to rest in 2.0 min.
    torque = spin_down_torque_nm(100.0, 500.0 * RAD_S_PER_RPM, 0.0, 120.0)
    assert torque == pytest.approx(-43.6, abs=0.05)
    assert torque == pytest.approx(-43.633, abs=0.0005)


def test_spin_down_of_a_record_player():
    # m58333: 33 1/3 turns a minute to rest in 1.0 min, 0.06 rad/s² and 16.7 turns.
    speed = 100 / 3 * RAD_S_PER_RPM
    per_inertia = spin_down_torque_nm(1.0, speed, 0.0, 60.0)
    assert -per_inertia == pytest.approx(0.06, abs=0.005)
    turns = float(kinetic_energy_j(1.0, speed)) / -per_inertia / (2 * math.pi)
    assert turns == pytest.approx(16.7, abs=0.05)


def test_disc_braked_at_the_rim():
    # m58333: 10 kg, 12 cm, 1500 turns a minute, 5.0 N × 0.80 at the rim; the print rounds (0.05 %).
    inertia = disc_inertia_kg_m2(10.0, 0.12)
    energy = float(kinetic_energy_j(inertia, 1500 * RAD_S_PER_RPM))
    assert energy == pytest.approx(888.50, rel=5e-4)
    brake = float(friction_torque_nm(0.0, friction_torque_nm=5.0 * 0.80 * 0.12))
    assert energy / brake / (2 * math.pi) == pytest.approx(294.6, rel=5e-4)


def test_spin_down_over_five_minutes():
    # esaral.com question 94970: 5.0 kg·m², 60 rad/s, rest in 5.0 min: torque -1 N·m, work 9 kJ.
    assert spin_down_torque_nm(5.0, 60.0, 0.0, 300.0) == pytest.approx(-1.0)
    assert kinetic_energy_j(5.0, 60.0) == pytest.approx(9000.0)
    assert speed_after_work_rad_s(5.0, -9000.0, 60.0) == pytest.approx(0.0, abs=1e-6)


def test_two_falling_masses_cancel_friction():
    # Problem 16.33 of a textbook (askfilo.com copy, no answer printed): 600 mm, 12 kg fall 3 m in 4.6 s,
    # 24 kg in 3.1 s. The two equations solved here give 112.12 kg·m² and 15.60 N·m (g = 9.81).
    radius, gravity = 0.600, 9.81
    accelerations = [2 * 3.0 / time**2 for time in (4.6, 3.1)]
    pulls = [mass * (gravity - a) * radius for mass, a in zip((12.0, 24.0), accelerations, strict=True)]
    turning = [a / radius for a in accelerations]
    inertia = (pulls[1] - pulls[0]) / (turning[1] - turning[0])
    friction = pulls[0] - inertia * turning[0]
    assert inertia == pytest.approx(112.12, abs=0.005)
    assert friction == pytest.approx(15.60, abs=0.005)
    # By energy, through the functions: what the mass gives goes into the wheel and the friction couple.
    for mass, a in zip((12.0, 24.0), accelerations, strict=True):
        angle = float(wound_angle_rad(3.0, radius))
        work = mass * (gravity - a) * 3.0 - float(friction_torque_nm(1.0, friction)) * angle
        assert speed_after_work_rad_s(inertia, work) == pytest.approx(
            math.sqrt(2 * a * 3.0) / radius, rel=1e-9
        )


def test_power_torque_and_speed():
    # m58333: 9.0e4 W at 300 turns a minute: 31.4 rad/s, 2864.8 N·m. Here as work that goes into a wheel for a moment.
    speed = 300 * RAD_S_PER_RPM
    assert speed == pytest.approx(31.4, abs=0.05)
    inertia, moment_s = 1000.0, 1e-3
    faster = speed_after_work_rad_s(inertia, 9.0e4 * moment_s, speed)
    assert spin_down_torque_nm(inertia, speed, faster, moment_s) == pytest.approx(2864.8, abs=0.2)


def test_line_off_a_reel_speeds_up():
    # m58327: 110 rad/s² for 2.00 s: 220 rad/s after 220 rad.
    assert speed_after_work_rad_s(1.0, 110.0 * 220.0) == pytest.approx(220.0, abs=0.5)
    assert spin_down_torque_nm(1.0, 0.0, 220.0, 2.00) == pytest.approx(110.0, abs=0.5)
    # Braked by 300 rad/s² it stands after 0.733 s.
    assert spin_down_torque_nm(1.0, 220.0, 0.0, 0.733) == pytest.approx(-300.0, abs=0.3)


def test_wheel_of_a_bicycle():
    # m58326: from rest to 250 turns a minute in 5.00 s: 26.2 rad/s, 5.24 rad/s²; -87.3 rad/s² stop it in 0.300 s.
    speed = 250 * RAD_S_PER_RPM
    assert speed == pytest.approx(26.2, abs=0.05)
    assert spin_down_torque_nm(1.0, 0.0, speed, 5.00) == pytest.approx(5.24, abs=0.005)
    assert spin_down_torque_nm(1.0, speed, 0.0, 0.300) == pytest.approx(-87.3, abs=0.05)


def test_even_ramp_to_rest():
    # m58327: 30 rad/s to rest in 5 s: -6.0 rad/s² and 75 rad.
    slowing = -spin_down_torque_nm(1.0, 30.0, 0.0, 5.0)
    assert slowing == pytest.approx(6.0)
    assert float(kinetic_energy_j(1.0, 30.0)) / slowing == pytest.approx(75.0)


def test_disc_with_drag_at_its_axle():
    # m58332: 75.0 kg, 0.280 m, 180 N at the rim: 50.4 N·m, 17.14 rad/s²; with 20.0 N at 1.50 cm against it 17.04.
    inertia = disc_inertia_kg_m2(75.0, 0.280)
    assert 180.0 * 0.280 / inertia == pytest.approx(17.14, abs=0.005)
    drag = float(friction_torque_nm(5.0, friction_torque_nm=20.0 * 0.0150))
    speed = speed_after_work_rad_s(inertia, 180.0 * 0.280 - drag)
    # Over one radian from rest: ω² = 2·α.
    assert speed**2 / 2.0 == pytest.approx(17.04, abs=0.005)


def test_coupled_wheels_keep_a_quarter_of_the_energy():
    # m58337: 600 turns a minute onto three times the inertia at rest: 150 a minute, 15.7 rad/s, three quarters lost.
    speed = 600 * RAD_S_PER_RPM
    together = speed / 4.0
    assert together == pytest.approx(15.7, abs=0.05)
    left = float(kinetic_energy_j(1.0 + 3.0, together)) / float(kinetic_energy_j(1.0, speed))
    assert left == pytest.approx(0.25)
