"""The integrator against worked examples, a second integrator and the conservation of energy."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy.integrate import cumulative_simpson, solve_ivp

from brakebeat import mechanics
from brakebeat.errors import InputError
from brakebeat.simulate import NO_SPREAD, Athlete, RepPlan, Wheel, draw_plan, simulate
from brakebeat.simulate.dynamics import integrate
from brakebeat.simulate.pulling import pull, pull_law
from brakebeat.simulate.wheel import DEAD_RAD

# Worked examples: OpenStax, University Physics Volume 1; the module is named at each.


def test_cord_off_a_shaft() -> None:
    """Module m58333: 50.0 N over 1.0 m of cord off a 0.10 m shaft, I = 2.5e-3 kg·m², gives 200.0 rad/s."""
    wheel = Wheel(2.5e-3, 0.10, 0.0, friction_torque_nm=0.0, friction_viscous_nm_s=0.0)
    steady = Athlete(force_n=50.0, speed_m_s=math.inf, ease_off=0.0, tremor=0.0)
    law = pull_law(wheel, steady, RepPlan(effort=1.0, rise_s=0.002), 1.0 / 0.10)
    moved = pull(wheel, law, 0.0, 1.0 / 0.10)
    # The example knows neither the build-up of the pull nor the dead point: take out the work they cost.
    lost_j = 50.0 * 1.0 - np.trapezoid(moved.torque_nm, moved.angle_rad)
    assert 0.0 < lost_j < 4.0
    ideal = math.sqrt(moved.speed_rad_s[-1] ** 2 + 2.0 * lost_j / 2.5e-3)
    assert ideal == pytest.approx(200.0, rel=1e-4)


def test_cord_off_a_shaft_before_the_dead_point() -> None:
    """The same example, stopped clock: up to the dead point the wheel has F·d of energy exactly."""
    wheel = Wheel(2.5e-3, 0.10, 0.0, friction_torque_nm=0.0, friction_viscous_nm_s=0.0)
    piece = integrate(
        wheel,
        lambda t, a, w: 50.0 * wheel.lever_m(a),
        (0.0, -10.0 - DEAD_RAD, 0.0),
        until="angle",
        limit=-DEAD_RAD,
    )
    assert piece.speed_rad_s[-1] == pytest.approx(200.0, rel=1e-6)


def test_constant_torque_over_eight_turns() -> None:
    """Module m58333: 12.0 N·m on I = 30.0 kg·m² over 8 rev gives 6.3 rad/s."""
    wheel = Wheel(30.0, friction_torque_nm=0.0, friction_viscous_nm_s=0.0)
    piece = integrate(wheel, lambda t, a, w: 12.0, (0.0, 0.0, 0.0), until="angle", limit=16.0 * math.pi)
    assert piece.speed_rad_s[-1] == pytest.approx(6.3, abs=0.05)
    assert piece.speed_rad_s[-1] == pytest.approx(6.3413, abs=5e-5)


def test_spin_down() -> None:
    """Module m58332: I = 100.0 kg·m², 500.0 rev/min to rest in 2.0 min takes 43.6 N·m."""
    wheel = Wheel(100.0, friction_torque_nm=43.633, friction_viscous_nm_s=0.0)
    start = (0.0, 0.0, 500.0 * 2.0 * math.pi / 60.0)
    piece = integrate(wheel, lambda t, a, w: 0.0, start, until="rest", knot_s=0.01, chunk_s=20.0)
    assert piece.t_s[-1] == pytest.approx(120.0, rel=1e-4)


def test_reel_braked() -> None:
    """Module m58327: a reel at 220 rad/s that loses 300 rad/s² stands after 0.733 s."""
    wheel = Wheel(1.0, friction_torque_nm=0.0, friction_viscous_nm_s=0.0)
    piece = integrate(wheel, lambda t, a, w: -300.0, (0.0, 0.0, 220.0), until="rest")
    assert piece.t_s[-1] == pytest.approx(0.733, abs=5e-4)
    assert piece.speed_rad_s[-1] == 0.0


@pytest.mark.parametrize("viscous", [0.0, 0.02])
def test_agrees_with_a_second_integrator(viscous: float) -> None:
    """DOP853 with a tolerance a thousand times tighter, event and all: the same pull to 1e-6."""
    wheel, athlete = Wheel(friction_viscous_nm_s=viscous), Athlete(tremor=0.0)
    law = pull_law(wheel, athlete, RepPlan(slack=(0.3, 0.5)), 38.0)
    mine = pull(wheel, law, 0.0, 38.0)

    def slope(t: float, state: np.ndarray) -> list[float]:
        return [state[1], (law(t, *state) - wheel.friction_nm(state[1])) / wheel.inertia_kg_m2]

    def paid_out(t: float, state: np.ndarray) -> float:
        return state[0]

    paid_out.terminal = True  # type: ignore[attr-defined]
    start = [mine.angle_rad[0], 0.0]
    other = solve_ivp(
        slope, (mine.t_s[0], 5.0), start, "DOP853", events=paid_out, rtol=1e-12, atol=1e-12, max_step=0.002
    )
    assert mine.t_s[-1] == pytest.approx(other.t_events[0][0], abs=1e-6)
    assert mine.speed_rad_s[-1] == pytest.approx(other.y_events[0][0][1], abs=1e-5)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("taper", [0.0, 0.0004])
def test_energy_is_conserved(seed: int, taper: float) -> None:
    """Athlete's work less friction's loss is kinetic energy, at every instant, to 0.1 % of the most."""
    wheel = Wheel(drum_taper_m_per_rad=taper, friction_torque_nm=0.3, friction_viscous_nm_s=0.01)
    motion = simulate(wheel, Athlete(), draw_plan(seed, reps=4, late=(2,), pauses_s=(0.0, 0.5)), seed)
    for stretch in motion.stretches:
        if stretch.rep is None:
            continue
        speed = np.abs(stretch.speed_rad_s)
        net_w = (stretch.torque_nm - wheel.friction_nm(speed)) * speed
        work_j = cumulative_simpson(net_w, x=stretch.t_s, initial=0.0)
        gained_j = mechanics.kinetic_energy_j(wheel.inertia_kg_m2, speed)
        gained_j = gained_j - gained_j[0]
        scale_j = mechanics.kinetic_energy_j(wheel.inertia_kg_m2, speed.max())
        assert np.abs(work_j - gained_j).max() < 1e-3 * scale_j


def test_strap_work_is_shaft_work() -> None:
    """Force over strap length (the drum's geometry worked out elsewhere) is torque over angle."""
    wheel = Wheel(drum_taper_m_per_rad=0.0002)
    motion = simulate(wheel, Athlete(), draw_plan(4, reps=3), 4)
    geometry = (wheel.drum_radius_m, wheel.strap_thickness_m, wheel.drum_taper_m_per_rad)
    for stretch in motion.stretches:
        if stretch.rep is None:
            continue
        out = np.abs(stretch.angle_rad) >= DEAD_RAD
        angle, torque = stretch.angle_rad[out], stretch.torque_nm[out]
        force_n = torque / mechanics.drum_radius_at_m(angle, *geometry)
        # Strap paid out since the phase began, or wound up.
        wound_m = mechanics.strap_travel_m(angle, *geometry)
        moved_m = np.abs(wound_m - wound_m[0])
        worked_j = np.trapezoid(force_n, moved_m)
        assert worked_j == pytest.approx(np.trapezoid(torque, np.abs(angle - angle[0])), rel=1e-4)
        assert abs(worked_j) > 50.0


def test_motion_is_without_gaps() -> None:
    motion = simulate(Wheel(), Athlete(), draw_plan(5, reps=4, sets=2), 5)
    for before, after in zip(motion.stretches, motion.stretches[1:], strict=False):
        assert after.t_s[0] == before.t_s[-1]
        assert after.angle_rad[0] == pytest.approx(before.angle_rad[-1], abs=1e-9)
        assert after.speed_rad_s[0] == pytest.approx(before.speed_rad_s[-1], abs=1e-9)
    for stretch in motion.stretches:
        assert (np.diff(stretch.t_s) > 0.0).all()
        assert (np.diff(stretch.along_rad) >= 0.0).all()


def test_strap_only_pulls() -> None:
    """Tension is never negative: concentric torque drives, eccentric torque brakes."""
    motion = simulate(Wheel(), Athlete(), draw_plan(6, reps=5, late=(3,)), 6)
    for stretch in motion.stretches:
        if stretch.kind == "concentric":
            assert stretch.torque_nm.min() >= 0.0
        if stretch.kind == "eccentric":
            assert stretch.torque_nm.max() <= 0.0


def _one_pull(inertia_kg_m2: float) -> dict[str, float]:
    wheel = Wheel(inertia_kg_m2)
    athlete = Athlete(tremor=0.0, fatigue_per_rep=0.0)
    plan = draw_plan(1, reps=1, efforts=(1.0,), spread=NO_SPREAD)
    pulled = next(s for s in simulate(wheel, athlete, plan).stretches if s.kind == "concentric")
    duration_s = pulled.t_s[-1] - pulled.t_s[0]
    work_j = float(np.trapezoid(pulled.torque_nm, pulled.along_rad))
    travel_m = float(mechanics.strap_travel_m(38.0, wheel.drum_radius_m, wheel.strap_thickness_m))
    return {
        "peak_rad_s": float(np.abs(pulled.speed_rad_s).max()),
        "mean_m_s": travel_m / duration_s,
        "mean_power_w": work_j / duration_s,
        "mean_force_n": work_j / travel_m,
        "work_j": work_j,
    }


def test_more_inertia_less_speed() -> None:
    """Inertia up, peak and mean concentric speed down: McErlain-Naylor & Beato, J Sports Sci 2021,
    1136-1143, doi 10.1080/02640414.2020.1860472, at their inertias."""
    pulls = [_one_pull(inertia) for inertia in (0.029, 0.061, 0.089, 0.121)]
    for light, heavy in itertools.pairwise(pulls):
        assert heavy["peak_rad_s"] < light["peak_rad_s"]
        assert heavy["mean_m_s"] < light["mean_m_s"]


def test_more_inertia_less_power_more_force() -> None:
    """0.050 to 0.100 kg·m²: mean power and speed down, mean force up (Worcester, Baker, Bollinger, J Strength
    Cond Res 2022;36(1):63-69); work rises with inertia (Martinez-Aranda & Fernandez-Gonzalo, J Strength Cond
    Res 2017;31(6):1653-1661)."""
    light, heavy = _one_pull(0.050), _one_pull(0.100)
    assert heavy["mean_power_w"] < light["mean_power_w"]
    assert heavy["mean_m_s"] < light["mean_m_s"]
    assert heavy["mean_force_n"] > light["mean_force_n"]
    assert heavy["work_j"] > light["work_j"]


def test_fatigue_and_effort() -> None:
    """Fatigue lowers the peak rep by rep, effort raises it."""
    plan = draw_plan(1, reps=6, efforts=(0.9,), spread=NO_SPREAD)
    motion = simulate(Wheel(), Athlete(fatigue_per_rep=0.03, tremor=0.0), plan)
    peaks = [float(np.abs(s.speed_rad_s).max()) for s in motion.stretches if s.kind == "concentric"]
    # The first rep starts from rest, the others from a taut strap: compare those.
    assert all(later < earlier for earlier, later in itertools.pairwise(peaks))


def test_hill_and_straight_line() -> None:
    straight, hill = Athlete(), Athlete(curvature=3.0)
    for athlete in (straight, hill):
        assert athlete.tension_n(0.0) == athlete.force_n
        assert athlete.tension_n(athlete.speed_m_s) == 0.0
        assert athlete.tension_n(2.0 * athlete.speed_m_s) == 0.0
    assert hill.tension_n(1.0) < straight.tension_n(1.0)


def test_too_weak_a_pull_is_told() -> None:
    with pytest.raises(InputError, match="effort"):
        simulate(Wheel(friction_torque_nm=50.0), Athlete(), draw_plan(1))
