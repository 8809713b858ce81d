"""Sums of powers give what a least-squares fit of the same edges gives, whatever the vertex."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.firmware.loaded import side as sides

NOISE = st.lists(st.floats(-0.05, 0.05), min_size=16, max_size=16)


def straight(side: sides.Side, vertex: float) -> tuple[float, np.ndarray]:
    """Misfit and (distance, curvature, jerk) by NumPy's least squares, prior of the bend as one row more."""
    u = np.abs(np.array(side.us) - vertex)
    scale = abs(side.us[-1] - vertex)
    reach = 0.5 - side.xs[-1]
    cubic = side.bend_spread > 0 and len(u) > 3
    # The bend that experience tells is a cubic share of its own; what differs from it is what the prior holds down.
    known = -side.bend * reach * (u / scale) ** 3
    square = u**2
    if side.build_s:
        # A torque that grows evenly up to build_s and stays from there on, integrated twice.
        build = side.build_s
        square = np.where(u < build, u**3 / (3 * build), u**2 - build * u + build**2 / 3)
    columns = [np.ones_like(u), square / scale**2] + ([(u / scale) ** 3] if cubic else [])
    rows = np.stack(columns, axis=1)
    # The acceleration that was there before fades as the other one grows.
    right = np.array(side.xs) - known - side.carried * (square - u**2)
    if cubic:
        rows = np.vstack([rows, [0.0, 0.0, side.noise / (side.bend_spread * reach)]])
        right = np.append(right, 0.0)
    answer, *_ = np.linalg.lstsq(rows, right, rcond=None)
    misfit = np.sum((rows @ answer - right) ** 2) / side.noise**2
    jerk = (answer[2] if cubic else 0.0) - side.bend * reach
    return misfit, np.array([answer[0], answer[1] / scale**2, jerk / scale**3])


@given(
    st.sampled_from([-1, 1]),
    st.floats(0.0, 1.0),
    st.floats(20.0, 200.0),
    st.integers(3, 16),
    st.floats(0.0, 0.1),
    st.sampled_from([0.0, 0.05, 0.5]),
    st.sampled_from([0.0, -0.05, -0.16]),
    st.sampled_from([0.0, 0.024, 0.04, 0.3]),
    st.sampled_from([0.0, -30.0]),
    NOISE,
)
def test_sums_of_powers_against_numpy(
    sign, distance, acceleration, count, later_s, spread, bend, build_s, carried, noise
):
    """later_s: the vertex is tried so far from the nearest edge; build_s: some edges lie where torque builds up."""
    us = [sign * np.sqrt(2 * (distance + k) / acceleration) for k in range(count)]
    side = sides.Side(us, [-float(k) + noise[k] for k in range(count)])
    side.bend, side.bend_spread = bend, spread
    side.build_s, side.carried = build_s, carried
    vertex = us[0] - sign * later_s
    misfit, expected = straight(side, vertex)
    found = side.misfit(vertex)
    assume(found < 1e3)
    # What speaks against a vertex too far off is added on top.
    extra = max(side.distance - 1.0, -side.distance, 0.0) ** 2 / (side.variance + 4 * side.noise**2 + 1e-4)
    assert found - extra == pytest.approx(misfit, rel=1e-6, abs=1e-5)
    assert [side.distance, side.curvature, side.jerk] == pytest.approx(expected, rel=1e-5, abs=1e-6)
