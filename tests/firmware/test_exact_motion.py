"""Whole reps of wheels whose motion is known in closed form: what a session makes of their exact edges."""

import math
import random

import pytest

from tests.firmware.exact import from_rest, magnet_edges, microseconds, play, steady, swing_edges

FIRST_US = 1_000_000
REP_S = 1.8
REP_US = int(REP_S * 1e6)
RANGE_RAD = 38.0
PEAK_RAD_S = RANGE_RAD * math.pi / REP_S
# A swing's turns are no parabolas, the firmware's are; that much it costs. With 1 and 2 magnets the first and the
# last edge are up to a turn away from rest and their times are not held to it.
TURN_US = 20_000


@pytest.mark.parametrize("phase_rad", [0.1, 0.5, 1.3])
@pytest.mark.parametrize(
    ("magnets", "peak"), [(1, 4e-3), (2, 2e-4), (4, 1e-4), (6, 1e-4), (12, 1e-4), (24, 1e-4), (36, 1e-4)]
)
def test_a_swing(magnets, peak, phase_rad):
    """One magnet sees the peak through a dozen edges a rep: what it gets is noted here, no limit is promised."""
    edges = microseconds(swing_edges(6, REP_S, RANGE_RAD, magnets, phase_rad=phase_rad))
    played = play(edges, pulses_per_rev=magnets)
    assert [rep.index for rep in played.reps] == list(range(6))
    assert played.session.incomplete == 0
    for place, rep in enumerate(played.reps):
        start = FIRST_US + place * REP_US
        assert rep.peak_rad_s == pytest.approx(PEAK_RAD_S, rel=peak)
        # One magnet places a turnaround by what a turn before and after it tell.
        turn_us = TURN_US if magnets > 1 else 2 * TURN_US
        if magnets > 2 or place:
            assert rep.start_us == pytest.approx(start, abs=turn_us)
        if magnets > 2 or place < 5:
            assert rep.end_us == pytest.approx(start + REP_US, abs=turn_us)
        assert rep.extension_us == pytest.approx(start + REP_US // 2, abs=15_000)
        assert rep.concentric_rad + rep.eccentric_rad == pytest.approx(
            2 * RANGE_RAD, rel=0.02 if magnets == 1 else 0.01
        )
        assert (rep.brake_fraction is None) == ("few_edges" in rep.flags)


@pytest.mark.parametrize("zone_rad", [0.0, 0.02, 0.05, 0.08])
@pytest.mark.parametrize("phase_rad", [0.1, 0.12, 0.15, 0.5, 0.9])
@pytest.mark.parametrize(("magnets", "turn_us", "first_us"), [(6, 2_500, 30_000), (36, 100, 12_000)])
def test_parabolic_turns_with_and_without_a_magnet_in_front(magnets, turn_us, first_us, zone_rad, phase_rad):
    """Some of these turn inside a magnet's zone, which gives one edge for two passes.

    A pull from rest usually weakens as the strap runs faster; that this one does not few magnets cannot tell.
    """
    pull, brake = (1.0, 60.0), (1.0, -60.0)
    first = from_rest(*pull)
    late_us = int(1e6 * sum(duration for duration, _ in first)) - 1_000_000
    motion = steady([*first, brake, brake, pull, pull, brake, brake, pull])
    edges = microseconds(magnet_edges(motion, magnets, zone_rad=zone_rad, phase_rad=phase_rad))
    played = play(edges, pulses_per_rev=magnets)
    assert len(played.reps) == 4
    for place, rep in enumerate(played.reps):
        end_us = FIRST_US + late_us + (place + 1) * 2_000_000
        if place:
            assert rep.start_us == pytest.approx(end_us - 2_000_000, abs=turn_us)
        else:
            assert rep.start_us == pytest.approx(FIRST_US, abs=first_us)
        assert rep.end_us == pytest.approx(end_us, abs=turn_us)
        # The wheel turns 60 rad, half of it on either side of phi = 0. What a first pull leaves of its way is assumed.
        assert rep.concentric_rad == pytest.approx(30.0, abs=0.2 if place else 0.8)


def test_some_of_those_turns_were_in_front_of_a_magnet():
    motion = steady([(1.0, 60.0), (1.0, -60.0), (1.0, -60.0), (1.0, 60.0)])
    passes = [
        len(magnet_edges(motion, 36, zone_rad=zone, phase_rad=phase))
        for zone in (0.0, 0.02, 0.05, 0.08)
        for phase in (0.1, 0.12, 0.15, 0.5, 0.9)
    ]
    # Each rep passes 60 rad; a magnet that is turned at costs one edge in the two reps beside it.
    assert len(set(passes)) > 1


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("sense", [1, -1])
@pytest.mark.parametrize("magnets", [2, 3, 6, 12, 24])
def test_the_spacing_table_learns_offsets(magnets, sense, seed):
    draw = random.Random(100 * magnets + seed)
    spacing = 2 * math.pi / magnets
    offsets = [math.radians(draw.uniform(-1.5, 1.5)) for _ in range(magnets)]
    mean = sum(offsets) / magnets
    offsets = [offset - mean for offset in offsets]
    phase = draw.uniform(0.0, spacing)
    edges = microseconds(swing_edges(6, REP_S, RANGE_RAD, magnets, phase_rad=phase, offsets_rad=offsets))
    if sense < 0:
        # Play it backwards: the first rep then runs the other way.
        edges = [edges[-1] + edges[0] - t for t in reversed(edges)]
    played = play(edges, pulses_per_rev=magnets)
    assert len(played.reps) == 6
    # The session's edge 0 is the first that it saw, and its positive sense the first rep's. An even number of
    # reps ends where it began, so the backward one starts at the same end.
    first = min(n for n in range(-600, 600) if phase + n * spacing + offsets[n % magnets] > -RANGE_RAD)
    learnt = [offset * spacing for offset in played.session.stretch.table.offsets]
    expected = [offsets[(first + place) % magnets] for place in range(magnets)]
    assert learnt == pytest.approx(expected, abs=math.radians(0.05))
    for rep in played.reps[2:]:
        assert rep.peak_rad_s == pytest.approx(PEAK_RAD_S, rel=5e-4)


def test_even_magnets_stay_even():
    played = play(microseconds(swing_edges(8, REP_S, RANGE_RAD, 6)))
    assert max(abs(offset) for offset in played.session.stretch.table.offsets) < 0.002
