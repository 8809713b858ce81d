"""A spline as a matrix, held to SciPy's own (not loaded by the reference itself)."""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.ndimage import median_filter

from brakebeat.reference.curve.between import between
from brakebeat.reference.model.scales import medians


@pytest.mark.parametrize(
    "told_at", [(-2.0, 0.0, 2.0), (0.0, 1.0, 3.0, 7.0), (0.025, 0.035, 0.045, 0.055, 0.07), tuple(range(9))]
)
def test_between_is_scipys_spline(told_at):
    told = np.random.default_rng(5).normal(size=(len(told_at), 4))
    wanted_at = np.linspace(told_at[0], told_at[-1], 50)
    assert between(np.array(told_at), wanted_at) @ told == pytest.approx(
        CubicSpline(told_at, told)(wanted_at), abs=1e-10
    )


def test_medians_are_scipys():
    values = np.random.default_rng(6).normal(size=40)
    assert medians(values).tolist() == median_filter(values, 5, mode="nearest").tolist()
