"""Two magnets in dirt: what is wrong with single edges makes no turnaround."""

from brakebeat.bench.accuracy_table.conditions import CONDITIONS
from brakebeat.board import replay
from brakebeat.check.matching import match
from tests.hard.judge import TrueRep


def test_two_magnets_missed_in_a_row_and_a_stray_edge_are_no_turnaround():
    """The interval behind the quickest one is twice as long, twice, and the stray edge makes the next ones short."""
    sensed = CONDITIONS["dirty-2"].sensed(1_903_030)
    true = [TrueRep(row["start_us"], row["end_us"], row) for row in sensed.truth["reps"]]
    matching = match(replay(sensed.recording).reps, true)
    assert (matching.only_firmware, matching.only_reference) == ([], [])
    assert len(matching.pairs) == 12
