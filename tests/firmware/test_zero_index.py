"""A calibrated zero (`zero_index`, the edge nearest phi = 0) holds through rests, wraps and repairs."""

import dataclasses

import pytest

from brakebeat.board import replay
from brakebeat.simulate import hard_cases, preset

CASES = ("two_sets", "wrap_in_a_rep", "pause_at_the_bottom")
# 18 minutes of 0.3 stray edges a second hold runs of them that look like a nudge: then the place is lost, rightly.
SENSED = [*(("clean", case) for case in (*CASES, "rest_beyond_a_wrap")), *(("dirty", case) for case in CASES)]


def with_zero(sensed):
    """The recording, told which of its edges a calibration found nearest to phi = 0."""
    header = sensed.recording.header | {"zero_index": str(sensed.truth["zero_index"])}
    return dataclasses.replace(sensed.recording, header=header)


@pytest.mark.parametrize(("sensor", "case"), SENSED)
@pytest.mark.parametrize("seed", [11, 12])
def test_every_extension_is_where_the_edge_says(case, sensor, seed):
    """6 magnets stand 1.05 rad apart: half of that is what the edge alone leaves open."""
    sensed = hard_cases(preset(sensor, 6))[case].sensed(seed)
    found = replay(with_zero(sensed))
    assert len(found.reps) == len(sensed.truth["reps"])
    for rep, true in zip(found.reps, sensed.truth["reps"], strict=True):
        assert "zero_assumed" not in rep.flags
        off_rad = (rep.extension_us - true["extension_us"]) * 1e-6 * true["peak_rad_s"]
        assert abs(off_rad) < 0.53, rep.index
