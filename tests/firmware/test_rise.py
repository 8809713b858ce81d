"""Where a pull has brought the wheel to nearly its full speed: an edge's noise must not carry it far."""

import math
import random
import statistics

import pytest

from tests.firmware.loaded import curve, rise
from tests.firmware.points import curve_of

# A pull and a way back whose speed is half a sine: no cubic, so that short windows are asked for.
FASTEST_RAD_S = 70.0
HALF_S = 0.9
WHOLE_RAD = FASTEST_RAD_S * 4.0 * HALF_S / math.pi
# Seconds and angle at which the sine comes to 0.98.
RISEN_RAD = WHOLE_RAD / 2 * (1.0 - math.cos(math.asin(0.98)))


def swing(spacing_rad: float, jitter_s: float, draw: random.Random) -> curve.Curve:
    """One rep through magnets that far apart, as the board sees it."""
    count = int(WHOLE_RAD / spacing_rad)
    angles = [(k + 0.5) * spacing_rad for k in range(count)]
    times = [2.0 * HALF_S / math.pi * math.acos(1.0 - 2.0 * angle / WHOLE_RAD) for angle in angles]
    board = curve_of([t + draw.gauss(0.0, jitter_s) for t in times], angles)
    board.total_rad = WHOLE_RAD
    board.duration_s = 2.0 * HALF_S
    return board


@pytest.mark.parametrize("magnets", [4, 6, 12, 24])
def test_without_noise_it_is_where_the_sine_says(magnets):
    found = rise.find_rise(swing(2.0 * math.pi / magnets, 0.0, random.Random(0)))
    assert found == pytest.approx(RISEN_RAD, abs=0.02 * WHOLE_RAD)


@pytest.mark.parametrize("magnets", [6, 12])
def test_noise_of_60_microseconds_moves_it_by_little(magnets):
    """phi = 0 is told by it, so each radian moves a late cue by 15 ms."""
    draw = random.Random(1)
    found = [rise.find_rise(swing(2.0 * math.pi / magnets, 60e-6, draw)) for _ in range(200)]
    assert None not in found
    assert statistics.stdev(found) < 0.25
