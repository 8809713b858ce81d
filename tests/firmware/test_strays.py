"""How far a point of a curve lies off the cubic through its four neighbours."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.firmware.loaded import curve

GAPS = st.lists(st.floats(0.005, 0.3), min_size=8, max_size=8)
ANGLES = st.lists(st.floats(-1.0, 1.0), min_size=9, max_size=9)


@given(GAPS, ANGLES)
def test_strays_against_numpy(gaps, angles):
    points = curve.Curve(9)
    for k, t in enumerate(np.cumsum([0.0, *gaps])):
        points.ts[k], points.xs[k] = t, angles[k]
    for k, found in enumerate(points.strays(2, 7), start=2):
        others = [k - 2, k - 1, k + 1, k + 2]
        t = np.array(points.ts, float) - points.ts[k]
        cubic = np.linalg.solve(np.vander(t[others], 4), np.array(points.xs, float)[others])
        assert found == pytest.approx(abs(points.xs[k] - cubic[-1]), rel=1e-6, abs=1e-6)


def test_two_points_at_one_time_spoil_no_others():
    """A turnaround may lie right at an edge: what is beside it stays finite, what is not stays as it was."""
    points = curve.Curve(12)
    for k in range(12):
        points.ts[k] = points.xs[k] = float(max(k, 1))
    found = points.strays(2, 10)
    assert found[2:] == pytest.approx([0.0] * 6, abs=1e-6)
    assert all(stray < float("inf") for stray in found)
