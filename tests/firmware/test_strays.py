"""How far a point of a curve lies off the cubic through its four neighbours."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.firmware.points import PART_RAD, curve_of

GAPS = st.lists(st.floats(0.005, 0.3), min_size=8, max_size=8)
ANGLES = st.lists(st.floats(-1.0, 1.0), min_size=9, max_size=9)


@given(GAPS, ANGLES)
def test_strays_against_numpy(gaps, angles):
    points = curve_of(np.cumsum([0.0, *gaps]), angles)
    xs = np.array(points.xs, float) * PART_RAD
    for k, found in enumerate(points.strays(2, 7), start=2):
        others = [k - 2, k - 1, k + 1, k + 2]
        t = (np.array(points.us, float) - points.us[k]) * 1e-6
        cubic = np.linalg.solve(np.vander(t[others], 4), xs[others])
        assert found == pytest.approx(abs(xs[k] - cubic[-1]), rel=1e-6, abs=1e-6)


def test_two_points_at_one_time_spoil_no_others():
    """A turnaround may lie right at an edge: what is beside it stays finite, what is not stays as it was."""
    points = curve_of([float(max(k, 1)) for k in range(12)], [float(max(k, 1)) for k in range(12)])
    found = points.strays(2, 10)
    assert found[2:] == pytest.approx([0.0] * 6, abs=1e-6)
    assert all(stray < float("inf") for stray in found)
