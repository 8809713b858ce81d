"""Brake onset and the way back's peaks of brakes of any course, each known in closed form."""

import math

import pytest

from tests.firmware.exact import magnet_edges, microseconds, play, steady
from tests.firmware.test_cues import FIRST_S, RANGE_RAD, Pull

INERTIA = 0.1
PEAK_RAD_S = Pull().peak_rad_s
# As shares of the range: the brakes here set in at one blow, which no athlete's does and which 12.5 ms blur. One that
# is not steady once it has come is told by smoothed edges alone, six at the least: where magnets are few, half of the
# five spacings between these blur it as well.
NEAR = 0.05
FEW_NEAR = NEAR + 2.5 * (2.0 * math.pi / 6) / RANGE_RAD
UNSTEADY = ("falling", "in two goes", "a hump far before")

# Each brake as (from which share of the way back, how hard, of the hardest); it holds up to the next, or the stop.
BRAKES = {
    "at once": [(0.0, 1.0)],
    "sudden": [(0.25, 1.0)],
    "late": [(0.6, 1.0)],
    "held, then hard": [(0.1, 0.05), (0.3, 1.0)],
    "rising": [(0.2, 0.3), (0.4, 0.6), (0.6, 1.0)],
    "falling": [(0.2, 1.0), (0.6, 0.5)],
    "in two goes": [(0.2, 0.6), (0.45, 0.3), (0.55, 1.0)],
    "a hump far before": [(0.1, 0.5), (0.2, 0.0), (0.5, 1.0)],
}
# Looking back from the hardest, the first that is more than a tenth of it and stays so.
ONSETS = {
    "at once": 0.0,
    "sudden": 0.25,
    "late": 0.6,
    "held, then hard": 0.3,
    "rising": 0.2,
    "falling": 0.2,
    "in two goes": 0.2,
    "a hump far before": 0.5,
}


def hardest(brake: list[tuple[float, float]]) -> float:
    """Deceleration of hardness 1, rad/s^2, that makes the brake stop the wheel where the rep began."""
    ends = [share for share, _ in brake[1:]] + [1.0]
    work = sum(hard * (end - share) for (share, hard), end in zip(brake, ends, strict=True))
    return PEAK_RAD_S**2 / (2 * RANGE_RAD * work)


def way_back(brake: list[tuple[float, float]], sense: int) -> list[tuple[float, float]]:
    """Pieces (seconds, acceleration) from phi = 0 to the stop."""
    scale = hardest(brake)
    steps = ([(0.0, 0.0)] if brake[0][0] else []) + brake
    ends = [share for share, _ in steps[1:]] + [1.0]
    pieces = []
    speed = PEAK_RAD_S
    for (share, hard), end in zip(steps, ends, strict=True):
        left = max(0.0, speed**2 - 2 * hard * scale * (end - share) * RANGE_RAD)
        after = left**0.5 if end < 1.0 else 0.0
        pieces.append((2 * (end - share) * RANGE_RAD / (speed + after), -sense * hard * scale))
        speed = after
    return pieces


def braked(brake: list[tuple[float, float]], magnets: int, **rig):
    """The reps of a set in which each is braked so, the first ones left out."""
    pieces = []
    for place in range(5):
        sense = (-1) ** place
        pieces += [(Pull().pull_s, sense * Pull().pull_rad_s2), *way_back(brake, sense)]
    times = microseconds(magnet_edges(steady(pieces), magnets, FIRST_S))
    played = play(times, pulses_per_rev=magnets, **({"inertia_kg_m2": INERTIA} | rig))
    assert len(played.reps) == 5
    return played.reps[2:]


@pytest.mark.parametrize("name", BRAKES)
@pytest.mark.parametrize("magnets", [6, 24])
def test_onset(magnets, name):
    near = FEW_NEAR if magnets == 6 and name in UNSTEADY else NEAR
    for rep in braked(BRAKES[name], magnets):
        assert rep.brake_fraction == pytest.approx(ONSETS[name], abs=near)


@pytest.mark.parametrize("name", ["sudden", "late", "held, then hard"])
def test_a_sudden_brakes_peaks_are_not_smeared(name):
    """The greatest 50 ms mean of power begins with the hard brake, that of torque lies anywhere in it."""
    scale = hardest(BRAKES[name])
    share = ONSETS[name]
    lost = sum(
        hard * scale * (min(end, share) - begin)
        for (begin, hard), end in zip(BRAKES[name], [s for s, _ in BRAKES[name][1:]] + [1.0], strict=True)
        if begin < share
    )
    speed = (PEAK_RAD_S**2 - 2 * lost * RANGE_RAD) ** 0.5
    for rep in braked(BRAKES[name], 6):
        assert rep.eccentric.peak_torque_nm == pytest.approx(INERTIA * scale, rel=0.04)
        power = INERTIA * scale * (speed - scale * 0.025)
        assert rep.eccentric.peak_power_w == pytest.approx(power, rel=0.04)


def test_friction_alone_is_no_brake():
    """What stops the wheel is all friction's: the athlete did nothing on the way back."""
    friction = INERTIA * hardest(BRAKES["at once"])
    for rep in braked(BRAKES["at once"], 6, friction_torque_nm=friction):
        assert rep.brake_onset_us is None
        assert rep.brake_timing == "none"
    # A good part of it friction: the rest is the athlete's, no harder than friction, and still no brake.
    for rep in braked(BRAKES["at once"], 6, friction_torque_nm=0.7 * friction):
        assert rep.brake_timing == "none"


def test_friction_of_an_unknown_wheel_leaves_the_onset_open():
    for rep in braked(BRAKES["sudden"], 6, inertia_kg_m2=None, friction_torque_nm=0.2):
        assert rep.brake_onset_us is None
        assert rep.brake_timing is None
    # No friction stated: angles and times are enough.
    for rep in braked(BRAKES["sudden"], 6, inertia_kg_m2=None):
        assert rep.brake_fraction == pytest.approx(0.25, abs=NEAR)
