"""The latency script counts every rep and ties the clocks; the times depend on the computer and decide nothing."""

import json

from brakebeat.bench.latency import Clocks, main
from brakebeat.board.replay import replay
from brakebeat.formats.recording import read_recording
from brakebeat.samples import find


def test_every_rep_is_timed(capsys):
    assert main(["sample:late", "sample:clean", "--speed", "20", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    expected = sum(len(replay(read_recording(find(name))).reps) for name in ("late", "clean"))
    assert document["n"] == expected
    assert 0 < document["median_s"] <= document["worst_s"]


def test_a_file_that_is_not_there(capsys):
    assert main(["nowhere.csv"]) == 2
    assert "nowhere.csv" in capsys.readouterr().err


def test_the_quickest_answer_ties_the_clocks():
    clocks = Clocks(speed=2.0)
    clocks.note(10.0, 10.4, 1_000_000)
    clocks.note(20.0, 20.1, 21_000_000)
    clocks.note(30.0, 31.0, 40_000_000)
    assert clocks.computer_s(23_000_000) == 20.05 + 1.0
    assert round(clocks.uncertainty_s, 6) == 0.05
