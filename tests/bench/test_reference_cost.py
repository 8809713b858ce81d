"""The reference's cost is measured on recordings of just the wanted size; the times decide nothing."""

import json

import numpy as np
import pytest

from brakebeat.bench.reference_cost import main, measure, session


@pytest.mark.parametrize(("kind", "edges"), [("clean-6", 2500), ("quadrature-96", 700)])
def test_a_session_has_as_many_edges_as_wanted(kind, edges):
    recording = session(kind, edges)
    assert len(recording.t_us) == len(recording.step) == edges
    assert (np.diff(recording.t_us) >= 0).all()


def test_a_longer_recording_has_more_reps_and_its_cost_is_its_own():
    few, more = (measure("clean-6", session("clean-6", edges)) for edges in (300, 600))
    assert 0 < few.reps < more.reps
    assert few.peak_bytes >= few.bare_bytes > 10_000_000
    assert more.edges_per_s == 600 / more.seconds


def test_the_document(capsys):
    assert main(["--edges", "250", "400", "--kinds", "clean-6", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [cost["edges"] for cost in document["costs"]] == [250, 400]
    assert all(cost["peak_bytes"] >= cost["bare_bytes"] for cost in document["costs"])


@pytest.mark.parametrize(
    ("words", "told"), [(["--edges", "0"], "--edges 0"), (["--kinds", "clean-7"], "--kinds clean-7")]
)
def test_a_wrong_call(words, told, capsys):
    assert main(words) == 2
    assert told in capsys.readouterr().err
