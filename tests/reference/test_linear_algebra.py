"""The reference's fast forms of sums and solutions against the plain ones."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from brakebeat.reference.spline import Grid, gram
from brakebeat.reference.vertex import Prior, weigh_vertices, whitened


@given(st.integers(0, 2**32 - 1), st.integers(1, 16))
def test_whitened_offsets_give_the_normal_density(seed, edges):
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(3, edges, edges + 2))
    covariance = root @ root.transpose(0, 2, 1) + 0.1 * np.eye(edges)
    offset = rng.normal(size=(3, edges))
    white, ones, determinant = whitened(covariance, offset)
    for number in range(3):
        density = multivariate_normal.logpdf(offset[number], np.zeros(edges), covariance[number])
        cost = white[number] @ white[number] + determinant[number]
        assert cost == pytest.approx(-2.0 * density - edges * np.log(2.0 * np.pi), rel=1e-9, abs=1e-9)
        solved = np.linalg.solve(covariance[number], offset[number]).sum()
        assert ones[number] @ white[number] == pytest.approx(solved, rel=1e-7, abs=1e-9)


@given(st.integers(0, 2**32 - 1), st.integers(1, 40))
def test_gram_is_the_product_of_the_rows(seed, pieces):
    rng = np.random.default_rng(seed)
    grid = Grid(0.0, 0.01, pieces)
    t_s = rng.uniform(0.0, grid.end_s, 30)
    precision = rng.uniform(0.1, 10.0, 30)
    first, weights = grid.basis(t_s)
    rows = grid.rows(t_s)
    product = rows.T @ (precision[:, None] * rows)
    band = gram(grid, first, weights, precision)
    for below in range(4):
        diagonal = np.diagonal(product, -below)
        assert band[below, : len(diagonal)] == pytest.approx(diagonal, rel=1e-12, abs=1e-12)


def test_a_course_without_noise_has_its_vertex_where_it_turned():
    t_s = np.array([-0.30, -0.25, -0.18, 0.18, 0.25, 0.30])
    angle = -0.5 * 60.0 * t_s**2
    prior = Prior(1.0, 60.0, 1e-4, 1.0)
    vertex = np.linspace(-0.05, 0.05, 101)
    found = weigh_vertices(prior, t_s, angle, np.full(6, 1e-3), 3, vertex, np.zeros(101))
    best = int(np.argmin(found.cost))
    assert vertex[best] == pytest.approx(0.0, abs=1e-9)
    assert found.angle_rad[best] == pytest.approx(0.0, abs=1e-3)
