"""The reference's fast forms of sums and solutions against the plain ones."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.reference.curve.basis import Basis
from brakebeat.reference.model.spline import Grid
from brakebeat.reference.turnaround.course import ALONG_AN_S, EVENLY, weakening
from brakebeat.reference.turnaround.listener import Listener
from brakebeat.reference.turnaround.meeting import met
from brakebeat.reference.turnaround.side import RISE_S, Manner, Sides
from brakebeat.reference.turnaround.start import Prior, Starts
from tests.reference.dense_vertex import cost_of, slowed

ONE = np.array([0])
SCALES = (3e3, 60.0, 1.0, 0.01, 0.045)
MANNERS = (
    Manner(),
    Manner(change=2.4, steady_per_s=16.0, spread=1.2),
    Manner(change=6.0, steady_per_s=4.0, spread=1.2, weakens_per_s=20.0),
)


def sides_of(edges, split, scales, rested, manner):
    """The two sides of edges (times, angles, standard deviations), with room for an edge more than there are."""
    t_s, angle, sigma = edges
    jerk, usual, spacing, _, change_s = scales
    top = angle[split - 1] + 0.5 * spacing

    def side(own, first, rise_s, change_s, weakens_per_s):
        def column(values, beyond):
            return np.append(values, beyond)[:, None]

        away = np.abs(t_s[own] - t_s[first])
        level = column(angle[own] - top, 0.0)
        shown = column(np.ones(len(own)), 0.0)
        each = [np.array([value]) for value in (jerk, usual, rise_s, change_s)]
        each += [np.array([part * usual]) for part in (manner.change, manner.steady_per_s)]
        each.append(np.array([weakens_per_s]))
        return Sides(column(away, 0.0), level, column(sigma[own], 1.0), shown, *each)

    own = np.arange(len(t_s))
    after = (RISE_S, 0.0) if rested else (0.0, change_s)
    before = side(own[:split][::-1], split - 1, 0.0, 0.0, 0.0)
    return before, side(own[split:], split, *after, manner.weakens_per_s)


@given(
    st.integers(0, 2**32 - 1), st.integers(1, 8), st.integers(1, 8), st.booleans(), st.sampled_from(MANNERS)
)
def test_two_sides_that_meet_give_the_normal_density_of_all_edges(seed, before, after, rested, manner):
    rng = np.random.default_rng(seed)
    t_s = np.cumsum(rng.uniform(0.02, 0.1, before + after))
    angle = np.cumsum(np.append(rng.uniform(0.5, 1.5, before), -rng.uniform(0.0, 1.5, after)))
    edges = t_s, angle, rng.uniform(2e-3, 2e-2, before + after)
    gap = t_s[before] - t_s[before - 1]
    rest = 0.3 * gap if rested else 0.0
    unseen = np.array([0.1, 0.3, 0.6]) * gap
    first, second = sides_of(edges, before, SCALES, rested, manner)
    spread = manner.spread_at_rest if rested else manner.spread
    doubts = np.array([SCALES[2]]), np.array([SCALES[3]]), np.array([spread])
    told = (
        Listener(first).listen(ONE, unseen[None], rested=rested),
        Listener(second).listen(ONE, (gap - rest - unseen)[None], rested=rested),
    )
    found = met(*told, *doubts, rested=rested)
    for number in range(3):
        cost, turned = cost_of(edges, before, unseen[number], rest, SCALES, manner)
        assert found.cost[0, number] == pytest.approx(cost, rel=1e-5, abs=1e-3)
        assert angle[before - 1] + 0.5 + found.level_rad[0, number] == pytest.approx(turned, abs=1e-5)


@given(st.integers(0, 2**32 - 1), st.integers(1, 12), st.booleans(), st.sampled_from(MANNERS))
def test_a_start_from_rest_has_the_normal_density_of_its_edges(seed, count, rises, manner):
    rng = np.random.default_rng(seed)
    away, way = np.cumsum(rng.uniform(0.02, 0.1, (2, count)), axis=1)
    sigma = rng.uniform(2e-3, 2e-2, count)
    prior = Prior(SCALES[0], SCALES[1], SCALES[2], manner=manner)
    starts = Starts.of([away - away[0]], [way - way[0]], [sigma], [prior, prior], rises=rises)
    # A brake does not weaken with the speed.
    played = manner if rises else replace(manner, weakens_per_s=0.0)
    lead = np.array([0.01, 0.1, 0.3])
    cost = starts.cost(np.array([lead, lead]))
    for number in range(3):
        edges = away, way[0] - way, sigma
        scales = (*SCALES[:3], 1e-6, 0.0)
        # Out of a rest that lasts no time; without one (a brake played backwards) all of the torque is there at once.
        dense, _ = cost_of(edges, 0, -lead[number], 1e-12 if rises else 0.0, scales, played)
        assert cost[:, number] == pytest.approx(dense, rel=1e-5, abs=1e-3)


@given(st.integers(0, 2**32 - 1), st.integers(1, 40))
def test_gram_is_the_product_of_the_rows(seed, pieces):
    rng = np.random.default_rng(seed)
    grid = Grid(0.0, 0.01, pieces)
    t_s = rng.uniform(0.0, grid.end_s, 30)
    precision = rng.uniform(0.1, 10.0, 30)
    first, weights = grid.basis(t_s)
    rows = grid.rows(t_s)
    product = rows.T @ (precision[:, None] * rows)
    band = Basis(grid, first, weights).gram(precision)
    for below in range(4):
        diagonal = np.diagonal(product, -below)
        assert band[below, : len(diagonal)] == pytest.approx(diagonal, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("shape", [EVENLY, ALONG_AN_S])
@pytest.mark.parametrize("rise_s", [0.0, 0.006, 0.045, 0.15])
@pytest.mark.parametrize("per_s", [3.0, 12.0, 40.0])
def test_a_pull_that_weakens_follows_its_equation_of_motion(shape, rise_s, per_s):
    t_s = np.linspace(0.0, 0.3, 3001)

    def growth(t):
        part = min(t / rise_s, 1.0) if rise_s else 1.0
        return part * np.polyval(shape.powers[::-1], part)

    angle, speed, accel, jerk = weakening(t_s, np.array(rise_s), np.array(per_s), shape)
    assert angle[::30] == pytest.approx(slowed(t_s[::30], growth, per_s), abs=2e-7)
    # Each is the one before it, derived; the growth has kinks where it begins and where it is over.
    smooth = np.abs(t_s - rise_s) > 3e-4
    for whole, slope in ((angle, speed), (speed, accel), (accel, jerk)):
        rate = np.gradient(whole, t_s)
        assert rate[2:-2][smooth[2:-2]] == pytest.approx(
            slope[2:-2][smooth[2:-2]], abs=2e-3 * np.abs(slope).max()
        )


def test_a_course_without_noise_has_its_vertex_where_it_turned():
    t_s = np.array([-0.30, -0.25, -0.18, 0.18, 0.25, 0.30])
    edges = t_s, -0.5 * 60.0 * t_s**2, np.full(6, 1e-3)
    first, second = sides_of(edges, 3, (1.0, 60.0, 1.0, 1e-4, 0.045), False, MANNERS[0])
    unseen = 0.18 + np.linspace(-0.05, 0.05, 101)
    doubts = np.array([1.0]), np.array([1e-4]), np.array([0.4])
    told = (
        Listener(first).listen(ONE, unseen[None], rested=False),
        Listener(second).listen(ONE, 0.36 - unseen[None], rested=False),
    )
    found = met(*told, *doubts, rested=False)
    best = int(np.argmin(found.cost))
    assert unseen[best] == pytest.approx(0.18, abs=1e-9)
    assert edges[1][2] + 0.5 + found.level_rad[0, best] == pytest.approx(0.0, abs=1e-3)
