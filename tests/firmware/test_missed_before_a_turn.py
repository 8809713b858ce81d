"""A magnet missed at full speed stays counted, whatever makes the turnaround after it be read anew; a brake is none."""

import pytest

from brakebeat.bench.accuracy_table.conditions import CONDITIONS
from brakebeat.board import replay


@pytest.mark.parametrize(("seed", "rep"), [(2_857_005, 5), (2_807_023, 5)])
def test_the_way_back_is_as_long_as_it_was(seed, rep):
    """Both lost a spacing there: a wheel that seems to stop short and run on brakes with twice the power."""
    sensed = CONDITIONS["dirty-6"].sensed(seed)
    found, true = replay(sensed.recording).reps[rep], sensed.truth["reps"][rep]
    assert found.eccentric_rad == pytest.approx(true["eccentric_rad"], abs=0.5)
    assert found.eccentric.peak_power_w == pytest.approx(true["eccentric"]["peak_power_w"], rel=0.1)


def test_a_brake_that_looked_like_missed_magnets_is_none():
    """Hard enough that the hot path counted two magnets too many before the turnaround and two behind it."""
    sensed = CONDITIONS["partial-6"].sensed(2_888_020)
    found, true = replay(sensed.recording).reps[8], sensed.truth["reps"][8]
    assert found.end_us == pytest.approx(true["end_us"], abs=6_000)


@pytest.mark.parametrize(("seed", "rep"), [(2_937_007, 4), (2_857_037, 2)])
def test_two_magnets_missed_before_the_newest_edge_behind_a_turn(seed, rep):
    """Left out as a stray one, the edge took the count of a whole rep with it, in one set that of all reps after it."""
    sensed = CONDITIONS["dirty-6"].sensed(seed)
    found, true = replay(sensed.recording).reps, sensed.truth["reps"]
    assert len(found) == len(true)
    assert found[rep].concentric_rad == pytest.approx(true[rep]["concentric_rad"], abs=2.0)
    assert found[rep].eccentric_rad == pytest.approx(true[rep]["eccentric_rad"], abs=2.0)
