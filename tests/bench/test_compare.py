"""The plain methods, the bound and the comparison's picture."""

import math

import matplotlib.image
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.bench.compare import compare, print_scores
from brakebeat.bench.peak_methods.peaks import METHODS, ConditionScore, MethodScore
from brakebeat.bench.peak_methods.picture import draw
from brakebeat.bench.peak_methods.plain import (
    interval_peak_rad_s,
    peak_bound,
    revolution_peak_rad_s,
    stamp_noise_s,
    without_bounces,
)


@given(pulses=st.integers(1, 24), interval_us=st.integers(500, 200_000), turns=st.integers(1, 5))
def test_plain_methods_are_right_on_a_steady_wheel(pulses, interval_us, turns):
    t_us = 17 + interval_us * np.arange(pulses * turns + 1)
    speed = 2 * math.pi / (pulses * interval_us * 1e-6)
    assert interval_peak_rad_s(t_us, pulses) == pytest.approx(speed)
    assert revolution_peak_rad_s(t_us, pulses) == pytest.approx(speed)


def test_too_few_edges_give_no_peak():
    assert interval_peak_rad_s(np.array([5]), 6) is None
    assert revolution_peak_rad_s(np.arange(6), 6) is None


def test_two_edges_in_one_microsecond_are_no_division_by_zero():
    assert interval_peak_rad_s(np.array([10, 10]), 2400) == pytest.approx(2 * math.pi / 2400 / 1e-6)


def test_the_dead_time_takes_bounces_out():
    assert without_bounces(np.array([0, 30, 800, 1000, 1100, 5000])).tolist() == [0, 1000, 5000]


@pytest.mark.parametrize("pulses", [1, 2, 6, 96, 2400])
def test_the_bound_is_the_least_squares_variance(pulses):
    # Wood, Gauss-Markov notes: the slope's variance is σ²/Σ(x − x̄)², least among linear unbiased estimates.
    x = 2 * math.pi / pulses * np.arange(pulses + 1)
    slope_s_rad = stamp_noise_s(5.0) / math.sqrt(np.sum((x - x.mean()) ** 2))
    assert peak_bound(70.0, pulses, 5.0) == pytest.approx(70.0 * slope_s_rad, rel=1e-9)


def test_least_squares_on_noisy_stamps_reaches_the_bound():
    rng = np.random.default_rng(8)
    pulses, speed, jitter_us = 12, 60.0, 40.0
    x = 2 * math.pi / pulses * np.arange(pulses + 1)
    t_us = np.floor(1e5 + x / speed * 1e6 + jitter_us * rng.normal(size=(4000, len(x))))
    slopes = np.polyfit(x, t_us.T * 1e-6, 1)[0]
    found = np.std(1.0 / slopes) / speed
    # 4,000 draws: the standard deviation is good to 1.1 %, so 5 % is more than four of those.
    assert found == pytest.approx(peak_bound(speed, pulses, jitter_us), rel=0.05)


def test_all_methods_on_the_same_reps():
    (one,) = compare(6, 400_100, kinds=["clean-6"])
    assert one.n == 12
    assert all(one.methods[method].without_peak == 0 for method in METHODS)
    assert one.methods["firmware"].worst < 0.01
    assert one.methods["firmware"].times_bound == pytest.approx(one.methods["firmware"].rms / one.bound)


def _score(name, *rms):
    methods = {
        method: MethodScore(value, value, 3 * value, value / 1e-4, 0)
        for method, value in zip(METHODS, rms, strict=True)
    }
    return ConditionScore(name, 24, 1e-4, methods)


def test_picture_and_table_take_what_is_off_the_scale(tmp_path, capsys):
    scores = [_score("clean-6", 1e-3, 2e-3, 6e-4, 3e-4), _score("dirty-6", 25.0, 0.3, 2e-3, 1e-3)]
    lost = MethodScore(None, None, None, None, 24)
    scores[1].methods["revolution"] = lost
    path = draw(scores, tmp_path / "peaks.png")
    picture = matplotlib.image.imread(path)
    assert picture.shape[:2] == (1050, 1800)
    # Something is drawn in both halves, in the firmware's own colour.
    hue = (np.abs(picture[..., :3] - np.array([0xD5, 0x5E, 0x00]) / 255) < 0.02).all(axis=2)
    assert hue[:, :900].sum() > 50
    assert hue[200:, 900:].sum() > 50
    print_scores(scores)
    out = capsys.readouterr().out
    assert "0.06 (6×)" in out
    assert "2.5e+03" in out
