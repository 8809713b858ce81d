"""Typical error, smallest worthwhile change and ICC against published data."""

import math

import numpy as np
import pytest

from brakebeat.errors import InputError
from brakebeat.training.reliability import (
    icc,
    judge_change,
    typical_error_of_series,
    typical_error_of_trials,
    worthwhile_between,
    worthwhile_within,
)

# Shrout and Fleiss, Psychol Bull 1979;86:420-428, Table 2: six subjects, four raters.
SHROUT_FLEISS = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
# Bland and Altman, Lancet 1986;327:307-310: peak flow with the mini meter, first and second reading, l/min.
MINI = [
    [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451],
    [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443],
]


def test_shrout_and_fleiss():
    found = icc(SHROUT_FLEISS)
    # Their Tables 3 and 4.
    squares = (found.between_ms, found.within_ms, found.rater_ms, found.error_ms)
    assert squares == pytest.approx((11.24, 6.26, 32.49, 1.02), abs=0.005)
    assert (found.icc1, found.icc2, found.icc3) == pytest.approx((0.17, 0.29, 0.71), abs=0.005)
    assert (found.icc1k, found.icc2k, found.icc3k) == pytest.approx((0.44, 0.62, 0.91), abs=0.005)


def test_typical_error_of_the_same_data():
    # The error mean square that Shrout and Fleiss print, 1.02, is the typical error squared.
    error = typical_error_of_trials(SHROUT_FLEISS)
    assert error.value == pytest.approx(math.sqrt(1.02), abs=0.003)
    assert error.degrees == 15


def test_typical_error_of_two_trials_is_that_of_their_differences():
    # Sum of squared differences 13479 as printed there, so SD about zero 28.2; about their mean it is less.
    differences = np.subtract(*MINI)
    assert (differences**2).sum() == 13479
    error = typical_error_of_trials(np.transpose(MINI))
    assert error.value == pytest.approx(differences.std(ddof=1) / math.sqrt(2), rel=1e-12)
    assert error.value * math.sqrt(2) == pytest.approx(28.2, abs=0.9)


def test_series_forgives_a_trend():
    rng = np.random.default_rng(5)
    values = 400.0 + 3.0 * np.arange(2000) + rng.normal(0.0, 10.0, 2000)
    # Mean square successive difference: 2·10² + 3².
    assert typical_error_of_series(values).value == pytest.approx(math.sqrt(100 + 4.5), rel=0.05)


def test_interval_of_a_series_covers_the_truth():
    rng = np.random.default_rng(11)
    inside = 0
    for _ in range(600):
        error = typical_error_of_series(rng.normal(400.0, 10.0, 8))
        inside += error.low <= 10.0 <= error.high
    # 90 % wanted; three standard errors of the count are 3.7 %.
    assert inside / 600 == pytest.approx(0.9, abs=0.037)


def test_smallest_worthwhile_changes():
    # Hopkins' factors, from memory: 0.2 between athletes, 0.3 within one.
    assert worthwhile_between([400.0, 420.0, 440.0]) == pytest.approx(0.2 * 20.0)
    error = typical_error_of_series([400.0, 410.0, 400.0, 410.0])
    assert error.value == pytest.approx(10.0 / math.sqrt(2))
    assert worthwhile_within(error) == pytest.approx(0.3 * error.value)
    assert error.relative == pytest.approx(error.value / 405.0)


@pytest.mark.parametrize(
    ("after", "worthwhile", "words"),
    [
        (460.0, 3.0, "matters, beyond"),
        (440.0, 39.0, "whether it matters"),
        (401.0, 3.0, "within error"),
        (400.0, 60.0, "no change"),
        (340.0, 3.0, "matters, beyond"),
    ],
)
def test_what_a_change_says(after, worthwhile, words):
    error = typical_error_of_series([400.0, 410.0] * 12)
    verdict = judge_change(400.0, after, error, worthwhile)
    assert words in verdict.words
    assert verdict.low < verdict.change < verdict.high


def test_too_little_data():
    for call, values in (
        (icc, [[1.0, 2.0]]),
        (icc, [[1.0], [2.0]]),
        (typical_error_of_trials, [[1.0, math.nan], [2.0, 3.0]]),
        (typical_error_of_series, [1.0, 2.0]),
        (worthwhile_between, [1.0]),
    ):
        with pytest.raises(InputError):
            call(values)
