"""A magnet missed at full speed stays counted, whatever makes the turnaround after it be read anew."""

import pytest

from brakebeat.bench.conditions import CONDITIONS
from brakebeat.board import replay


@pytest.mark.parametrize(("seed", "rep"), [(2_857_005, 5), (2_807_023, 5)])
def test_the_way_back_is_as_long_as_it_was(seed, rep):
    """Both lost a spacing there: a wheel that seems to stop short and run on brakes with twice the power."""
    sensed = CONDITIONS["dirty-6"].sensed(seed)
    found, true = replay(sensed.recording).reps[rep], sensed.truth["reps"][rep]
    assert found.eccentric_rad == pytest.approx(true["eccentric_rad"], abs=0.5)
    assert found.eccentric.peak_power_w == pytest.approx(true["eccentric"]["peak_power_w"], rel=0.1)
