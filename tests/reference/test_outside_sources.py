"""The reference's building blocks against numbers and formulas from outside."""

import numpy as np
import pytest

from brakebeat.formats.rig import Rig
from brakebeat.reference.curve.chain import join_runs
from brakebeat.reference.curve.fit import fit_chain
from brakebeat.reference.curve.strokes import EdgeRun
from brakebeat.reference.figures.phases import Phase, phase_figures
from brakebeat.reference.model.noise import Noise
from brakebeat.reference.rig_physics import Physics

RPM = 2.0 * np.pi / 60.0
MARKS = 60


def _single_run(angle_to_time, turned_rad: float):
    """A fit through marks passed at exact times, no magnet offsets."""
    spacing = 2.0 * np.pi / MARKS
    place = np.arange(int(turned_rad / spacing) + 1)
    run = EdgeRun(angle_to_time(place * spacing), place, 1, place, True, 0)
    return join_runs([run], []), spacing


def test_speed_and_acceleration_of_a_worked_example():
    """A wheel brought from rest to 250 rpm in 5.00 s: 26.2 rad/s and 5.24 rad/s².

    OpenStax, University Physics Volume 1, module m58326, worked example (commit d0ed34a of the book's source).
    """
    accel = 250.0 * RPM / 5.0
    chain, spacing = _single_run(lambda angle: np.sqrt(2.0 * angle / accel), 0.5 * accel * 5.0**2)
    fit = fit_chain(chain, 0, spacing, Noise(1.0, 1e-6, 1e-5), 5.0)
    assert fit.value(np.array([4.9]), 1)[0] == pytest.approx(26.2 * 4.9 / 5.0, rel=2e-3)
    assert fit.value(np.array([2.5]), 2)[0] == pytest.approx(5.24, rel=2e-3)


def test_energy_and_power_of_a_worked_example():
    """12.0 N·m on 30.0 kg·m² for 8 rev: 6.3 rad/s at the end, so 12.0·16π J.

    OpenStax, University Physics Volume 1, module m58333.
    """
    accel, way = 12.0 / 30.0, 16.0 * np.pi
    t = np.linspace(0.0, np.sqrt(2.0 * way / accel), 5001)
    phase = Phase(t, 0.5 * accel * t**2 - way, accel * t, np.full(len(t), accel), 1)
    rig = Rig(pulses_per_rev=6, inertia_kg_m2=30.0)
    figures = phase_figures(phase, Physics(rig))
    assert phase.speed_rad_s[-1] == pytest.approx(6.3, abs=0.05)
    assert figures.energy_j == pytest.approx(12.0 * way, rel=1e-6)
    assert figures.peak_torque_nm == pytest.approx(12.0, rel=1e-4)


@pytest.mark.parametrize("count", [8, 16, 32])
def test_a_straight_line_is_known_as_well_as_least_squares_can(count):
    """A speed that cannot change: its variance is 12σ²/(Δ²·N(N² − 1)), the least of any linear unbiased estimate.

    Slope variance σ²/Σ(x − x̄)² and its being minimal: Wood's notes on the Gauss-Markov theorem; summed here for N
    points a step Δ apart.
    """
    spacing, speed, sigma = 2.0 * np.pi / MARKS, 30.0, 2e-3
    step = spacing / speed
    chain, _ = _single_run(lambda angle: angle / speed, (count - 1) * spacing + 1e-9)
    # So little jerk that over so short a record it does not count.
    fit = fit_chain(chain, 0, spacing, Noise(1.0, 1e-9, sigma), 1e-3)
    line = np.sqrt(12.0 * sigma**2 / (step**2 * count * (count**2 - 1)))
    middle = 0.5 * (chain.t_s[0] + chain.t_s[-1])
    # In the middle of a symmetrical record a parabola's slope is the straight line's: the acceleration drops out.
    assert fit.spread([(middle, 1)])[0] == pytest.approx(line, rel=0.15)
