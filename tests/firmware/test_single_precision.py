"""The firmware with the floats of a board: rounding as NumPy's float32 has it, and the same reps to what matters."""

import ast

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.bench.accuracy_table.conditions import CONDITIONS
from brakebeat.board import replay
from brakebeat.board.files import BOARD_PACKAGE, firmware_dir, firmware_importable
from brakebeat.board.single_precision import SinglePrecision, compiled, prepare
from tests.firmware.loaded import side as double_side

SINGLE = st.floats(-1e6, 1e6, width=32)
SEED = 410_000


def run(source, **names):
    prepare()
    exec(compiled(source, "board.py"), names)
    return names["x"]


@given(SINGLE, SINGLE, SINGLE, st.integers(-(2**30), 2**30))
def test_arithmetic_rounds_as_float32_does(a, b, c, n):
    # Reference: NumPy's IEEE 754 single precision.
    x, y, z, whole = (np.float32(value) for value in (a, b, c, n))
    with np.errstate(all="ignore"):
        assert run("x = a * b + c - n", a=a, b=b, c=c, n=n) == x * y + z - whole
        if c:
            assert run("x = (a - b) / c", a=a, b=b, c=c) == (x - y) / z
    assert run("x = a\nx += b\nx *= 0.1", a=a, b=b) == (x + y) * np.float32(0.1)


def test_whole_numbers_stay_whole_and_are_rounded_where_they_meet_a_float():
    assert run("x = 16777217 + 2") == 16777219
    assert run("x = 16777217 * 1.0") == 16777216.0
    assert run("x = 1 / 3") == np.float32(1) / np.float32(3)
    assert run("x = [1.0]\nx[0] += 1e-9") == [1.0]


def test_viper_functions_are_left_as_they_are():
    source = "@micropython.viper\ndef f(a: int) -> int:\n    return a + 1\n"
    assert ast.unparse(SinglePrecision().visit(ast.parse(source))) == source.strip()


@pytest.mark.parametrize("kind", ["clean-6", "dirty-6", "clean-24", "quadrature-96"])
def test_single_precision_gives_the_same_reps(kind):
    """What a board rounds away is far less than what the firmware is off by: limits are a tenth of those that it is
    held to (6 ms, 0.3 % of the peak, 0.04 of the way back, 1.5 % of the energy)."""
    recording = CONDITIONS[kind].sensed(SEED).recording
    double = replay(recording, engine="cpython")
    single = replay(recording, single_precision=True)
    assert len(single.reps) == len(double.reps) >= 10
    for mine, usual in zip(single.reps, double.reps, strict=True):
        assert mine.start_us == pytest.approx(usual.start_us, abs=600)
        assert mine.end_us == pytest.approx(usual.end_us, abs=600)
        assert mine.peak_rad_s == pytest.approx(usual.peak_rad_s, rel=3e-4)
        assert mine.brake_fraction == pytest.approx(usual.brake_fraction, abs=0.004, nan_ok=True)
        for phase in ("concentric", "eccentric"):
            its = getattr(usual, phase).energy_j
            assert getattr(mine, phase).energy_j == pytest.approx(its, rel=1.5e-3)
    assert [(cue.kind, cue.rep) for cue in single.cues] == [(cue.kind, cue.rep) for cue in double.cues]
    # It is not the very same arithmetic.
    assert [rep.to_document() for rep in single.reps] != [rep.to_document() for rep in double.reps]


@pytest.fixture(scope="module")
def side_in_single():
    """The board's side.py as a board computes it."""
    prepare()
    path = firmware_dir() / BOARD_PACKAGE / "side.py"
    module = {"__name__": "side"}
    with firmware_importable():
        exec(compiled(path.read_text(encoding="utf-8"), str(path)), module)
    return module["Side"]


@pytest.mark.parametrize("seed", range(4))
def test_a_vertex_far_off_fits_no_better_in_single_precision(side_in_single, seed):
    """After a rest a vertex is tried seconds away from the edges, where sums of powers are huge and nearly alike."""
    draw = np.random.default_rng(seed)
    for _ in range(500):
        count = draw.integers(4, 17)
        sign = draw.choice([-1.0, 1.0])
        spacings = draw.uniform(0.05, 1.0) + np.arange(count)
        times = sign * np.sqrt(2 * spacings / draw.uniform(20, 200))
        paths = -np.arange(count) + draw.normal(0, 0.01, count)
        spread, build_s, away_s = draw.choice([0.0, 0.1]), draw.choice([0.0, 0.04]), draw.uniform(0, 4)
        misfits = []
        for kind, number in ((double_side.Side, float), (side_in_single, lambda x: float(np.float32(x)))):
            side = kind([number(u) for u in times], [number(x) for x in paths])
            side.bend, side.bend_spread, side.build_s = (
                -0.05 if spread else 0.0,
                float(spread),
                float(build_s),
            )
            misfits.append(side.misfit(number(times[0] - sign * away_s)))
        double, single = misfits
        # Which of two bad places is worse still leads the search to the good one.
        assert single > double / 2 if double > 60 else single == pytest.approx(double, rel=0.05, abs=10)
