"""A real recording cut at any byte goes through both engines: figures or a worded error, never a crash."""

import json
import math
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brakebeat.board import replay
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording, read_recording
from brakebeat.reference import analyse
from brakebeat.samples import find

ENGINES = {"firmware": replay, "reference": analyse}
SLACK_US = 5_000_000
DIRTY = find("dirty").read_bytes()


@pytest.mark.parametrize("engine", ENGINES)
@settings(max_examples=25)
@given(cut=st.integers(0, len(DIRTY)))
def test_cut_at_any_byte(engine: str, cut: int):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "cut.csv"
        path.write_bytes(DIRTY[:cut])
        message = ""
        try:
            recording = read_recording(path)
        except InputError as error:
            message = str(error)
    if message:
        assert message.startswith(f"{path}:")
        return
    analysis = ENGINES[engine](recording)
    json.dumps(analysis.to_document(), allow_nan=False)
    assert analysis.pulses == recording.t_us.size
    for rep in analysis.reps:
        # A turnaround may lie a little before the first edge or after the last, where no magnet passed.
        assert recording.t_us[0] - SLACK_US <= rep.start_us
        assert rep.start_us < rep.extension_us < rep.end_us
        assert rep.end_us <= recording.t_us[-1] + SLACK_US
        assert math.isfinite(rep.peak_rad_s)


@pytest.mark.parametrize("engine", ENGINES)
def test_clock_that_starts_with_the_first_edge(engine: str):
    """The rep began before the first edge, so its start lies before the clock's zero, or at it."""
    whole = read_recording(find("clean"))
    shifted = Recording(whole.t_us - whole.t_us[0], whole.step, whole.header)
    starts = [rep.start_us for rep in ENGINES[engine](shifted).reps]
    expected = [rep.start_us - whole.t_us[0] for rep in ENGINES[engine](whole).reps]
    assert len(starts) == len(expected) > 0
    assert -SLACK_US <= starts[0] <= 0
    assert starts[1:] == pytest.approx(expected[1:], abs=2)
