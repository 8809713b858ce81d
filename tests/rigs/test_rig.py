"""`brakebeat rig new` and `rig show`."""

import io
import json
import math

import pytest

from brakebeat.cli import main
from brakebeat.formats.rig import Rig, read_rig
from brakebeat.rigs.questions import QUESTIONS
from brakebeat.rigs.resolution import expected, step_rad_s


class _Typed(io.StringIO):
    def isatty(self):
        return True


def test_options_make_a_commented_rig(tmp_path, capsys):
    path = tmp_path / "rig.toml"
    words = ["--yes", "--magnets", "6", "--sensor-pin", "2", "--inertia", "0.12", "--brake", "last_third"]
    assert main(["rig", "new", str(path), *words]) == 0
    rig = read_rig(path)
    assert (rig.pulses_per_rev, rig.inertia_kg_m2, rig.brake_target, rig.board.sensor_pin) == (
        6,
        0.12,
        0.70,
        2,
    )
    assert path.read_text().count("#") > 10
    assert "Caution" in capsys.readouterr().err


def test_answers_make_a_rig_and_a_wrong_one_is_asked_again(tmp_path, monkeypatch, capsys):
    asked = [q for q in QUESTIONS if q.key != "board.sensor_pin_b"]
    answers = {
        "name": "barn wheel",
        "pulses_per_rev": "six\n\n6",
        "inertia_kg_m2": "0,12",
        "board.sensor_pin": "2",
    }
    typed = "".join(answers.get(question.key, "") + "\n" for question in asked)
    monkeypatch.setattr("sys.stdin", _Typed(typed))
    path = tmp_path / "rig.toml"
    assert main(["rig", "new", str(path)]) == 0
    rig = read_rig(path)
    assert (rig.name, rig.pulses_per_rev, rig.inertia_kg_m2, rig.drum_radius_m) == (
        "barn wheel",
        6,
        0.12,
        None,
    )
    err = capsys.readouterr().err
    assert "'six' is not a whole number" in err


def test_an_end_of_the_answers_writes_nothing(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", _Typed("barn wheel\n"))
    assert main(["rig", "new", str(tmp_path / "rig.toml")]) == 2
    assert not list(tmp_path.iterdir())


def test_an_existing_file_is_never_lost(tmp_path, capsys):
    path = tmp_path / "rig.toml"
    path.write_text("pulses_per_rev = 4\n")
    assert main(["rig", "new", str(path), "--yes", "--magnets", "6"]) == 2
    assert "--replace" in capsys.readouterr().err
    assert main(["rig", "new", str(path), "--yes", "--magnets", "6", "--replace"]) == 0
    assert (tmp_path / "rig.toml.old-1").read_text() == "pulses_per_rev = 4\n"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--yes"], "--magnets"),
        (["--yes", "--magnets", "x"], "--magnets"),
        (["--yes", "--magnets", "0"], "--magnets"),
        (["--yes", "--magnets", "6", "--brake", "soon"], "first_quarter"),
        (["--yes", "--magnets", "6", "--inertia", "-1"], "--inertia"),
        (["--yes", "--magnets", "6", "--name", 'a"b'], "--name"),
    ],
)
def test_wrong_options_are_named(tmp_path, capsys, words, says):
    assert main(["rig", "new", str(tmp_path / "rig.toml"), *words]) == 2
    assert says in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_a_ticks_step():
    # One gap of 60° at 60 rad/s lasts 17453 us; one more makes it 59.9966 rad/s.
    gap_s = math.pi / 3 / 60
    assert step_rad_s(60, 6) == pytest.approx(math.pi / 3 / gap_s - math.pi / 3 / (gap_s + 1e-6), rel=1e-3)
    # Period counting, best-microcontroller-projects.com: 1 MHz, 1345 Hz give 743 counts: a step of 1 in 743.
    assert step_rad_s(2 * math.pi * 1345, 1) / (2 * math.pi * 1345) == pytest.approx(1 / 743, rel=1e-3)


def test_show_tells_resolution_expected_errors_and_what_is_unknown(tmp_path, capsys):
    path = tmp_path / "rig.toml"
    path.write_text("pulses_per_rev = 8\n")
    assert main(["rig", "show", str(path)]) == 0
    out = capsys.readouterr().out
    assert "worst errors to be expected" in out
    assert "not known: inertia_kg_m2" in out
    assert main(["rig", "show", str(path), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [row["kind"] for row in document["expected"]] == ["clean-6", "dirty-6"]
    assert set(document["unknown"]) >= {"inertia_kg_m2", "drum_radius_m", "magnet_offsets_rad"}


def test_more_magnets_promise_no_worse_a_peak_in_clean_edges():
    peaks = [expected(Rig(pulses_per_rev=count))[0].peak_percent for count in (4, 6, 12, 24)]
    assert peaks == sorted(peaks, reverse=True)
