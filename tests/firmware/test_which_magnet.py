"""Which magnet is which: a count that has slipped is set right, one that has not stays, and phi = 0 keeps its place."""

import pytest

from brakebeat.bench.accuracy_table.conditions import CONDITIONS
from brakebeat.board import replay


@pytest.mark.parametrize(
    ("kind", "seed"),
    [
        pytest.param(
            "dirty-6", 4_307_055, id="a table of one rep, some noise, magnets alike three farther on"
        ),
        pytest.param("paused-dirty-6", 4_247_020, id="one magnet on, which three back looked like, too"),
    ],
)
def test_phi_0_stays_where_it_is(kind: str, seed: int):
    """Once the count was moved where it had not slipped, or too far, turnarounds stood beside where they were: ways
    were 0.7 to 0.9 rad off, late cues 70 ms early or 80 ms late."""
    sensed = CONDITIONS[kind].sensed(seed)
    analysis, true = replay(sensed.recording), sensed.truth["reps"]
    ways_rad = [rep.concentric_rad for rep in analysis.reps[1:]]
    assert ways_rad == pytest.approx([rep["concentric_rad"] for rep in true[1:]], abs=0.35)
    delays_us = [cue.t_us - true[cue.rep]["late_us"] for cue in analysis.cues if cue.kind == "late"]
    assert delays_us
    assert all(-10_000 < delay_us < 25_000 for delay_us in delays_us)
