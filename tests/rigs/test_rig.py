"""`brakebeat rig new` and `rig show`."""

import io
import json
import math

import pytest

from brakebeat.board.table import supported_boards
from brakebeat.cli import main
from brakebeat.formats.rig import Rig, read_rig
from brakebeat.rigs.measure import table
from brakebeat.rigs.pins import board_named, refuse_pin
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


@pytest.mark.parametrize("board", supported_boards(), ids=lambda board: board.chip)
def test_a_named_board_brings_the_pins_of_its_wiring_diagram(tmp_path, board):
    path = tmp_path / "rig.toml"
    assert main(["rig", "new", str(path), "--yes", "--magnets", "6", "--board", board.name]) == 0
    made, pins = read_rig(path).board, board.pins
    for key in ("sensor_pin", "buzzer_pin", "led_pin", "button_pin"):
        assert getattr(made, key) == pins[key]
    # What is seldom there is not taken for wired: a loose supply pin would read an empty battery.
    assert (made.sensor_pin_b, made.motor_pin, made.supply_pin) == (None, None, None)
    text = path.read_text()
    assert all(f"; {number} in the wiring diagram of the {board.name}" in text for number in pins.values())


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("pico w", "Raspberry Pi Pico W"),
        ("Pico-2-W", "Raspberry Pi Pico 2 W"),
        ("esp32", "ESP32"),
        ("C3", "ESP32-C3"),
    ],
)
def test_a_boards_name_may_be_short(typed, name):
    board = board_named(typed)
    assert board is not None
    assert board.name == name


def test_pins_are_offered_and_a_taken_one_is_asked_again(tmp_path, monkeypatch, capsys):
    answers = {
        "which_board": "w\npico 2 w",
        "board.sensor": "quadrature",
        "pulses_per_rev": "2400",
        "board.buzzer_pin": "14\nGP20",
        "board.led_pin": "99\nnone",
    }
    typed = "".join(answers.get(question.key, "") + "\n" for question in QUESTIONS)
    monkeypatch.setattr("sys.stdin", _Typed(typed))
    path = tmp_path / "rig.toml"
    assert main(["rig", "new", str(path)]) == 0
    made = read_rig(path).board
    assert (made.sensor_pin, made.sensor_pin_b, made.buzzer_pin, made.led_pin) == (14, 15, 20, None)
    err = capsys.readouterr().err
    assert "'w' is not one of" in err
    assert "GPIO 14 is taken by sensor_pin" in err
    assert "GPIO 99 leads to no pin of the Raspberry Pi Pico 2 W" in err
    # Who answers a question need not read the option of that name.
    assert "--led-pin:" not in err


def _made(tmp_path, *words):
    path = tmp_path / "rig.toml"
    assert main(["rig", "new", str(path), "--yes", "--replace", *words]) == 0
    return read_rig(path)


def test_answers_may_carry_their_unit_and_capitals(tmp_path):
    words = ["--drum-radius", "15 mm", "--strap-thickness", "0,2cm", "--inertia", "0.12 kg·m²"]
    rig = _made(tmp_path, "--magnets", "6", "--sensor", "Hall", "--brake", "Last Third", *words)
    assert (rig.drum_radius_m, rig.strap_thickness_m, rig.inertia_kg_m2) == (0.015, 0.002, 0.12)
    assert (rig.board.sensor, rig.brake_preset) == ("hall", "last_third")
    assert _made(tmp_path, "--magnets", "6", "--inertia", "0.12 kg m^2").inertia_kg_m2 == 0.12


@pytest.mark.parametrize(("magnets", "late"), [("1", False), ("3", False), ("4", True), ("6", True)])
def test_fewer_than_four_magnets_get_no_late_cue_unless_asked_for(tmp_path, capsys, magnets, late):
    assert _made(tmp_path, "--magnets", magnets).cues.late_cue is late
    assert ("The late cue is off" in capsys.readouterr().err) is not late
    assert _made(tmp_path, "--magnets", magnets, "--late-cue", "yes").cues.late_cue
    assert main(["rig", "show", str(tmp_path / "rig.toml")]) == 0
    assert ("late_cue = false under [cues]" in capsys.readouterr().out) is not late
    assert not _made(tmp_path, "--magnets", magnets, "--late-cue", "No").cues.late_cue


@pytest.mark.parametrize(
    ("board", "words", "says"),
    [
        ("Pico W", ["--buzzer-pin", "23"], "take one of 0 to 22, 26 to 28"),
        ("Pico W", ["--supply-pin", "22"], "measures no voltage; take one of 26 to 28"),
        ("ESP32", ["--sensor-pin", "6"], "or to one that the board itself needs"),
        ("ESP32", ["--led-pin", "35"], "GPIO 35 of the ESP32 is an input only"),
        ("ESP32-C3", ["--button-pin", "40"], "leads to no pin of the ESP32-C3"),
    ],
)
def test_a_pin_that_the_named_board_lacks_is_refused(tmp_path, capsys, board, words, says):
    path = tmp_path / "rig.toml"
    assert main(["rig", "new", str(path), "--yes", "--magnets", "6", "--board", board, *words]) == 2
    err = capsys.readouterr().err
    assert f"{words[0]}: GPIO {words[1]} " in err
    assert says in err
    assert not path.exists()
    # What such a board is, nobody said: then its pins are the user's affair.
    assert main(["rig", "new", str(path), "--yes", "--magnets", "6", *words]) == 0


@pytest.mark.parametrize("board", supported_boards(), ids=lambda board: board.chip)
def test_the_pins_of_each_wiring_diagram_are_free(board):
    for key, number in board.pins.items():
        refuse_pin(board, key, number, "--x")


def test_nothing_is_asked_where_nothing_could_be_written(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", _Typed(""))
    assert main(["rig", "new", str(tmp_path / "nowhere" / "rig.toml")]) == 2
    err = capsys.readouterr().err
    assert "no such folder" in err
    assert "What do you call" not in err


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
        (["--yes", "--magnets", "6", "--inertia", "nan"], "a number of kg·m²"),
        (["--yes", "--magnets", "6", "--late-cue", "maybe"], "yes or no"),
        (["--yes", "--magnets", "6", "--drum-radius", "15"], "must be a number from 0.001 to 1 m"),
        (["--yes", "--magnets", "6", "--drum-radius", "2 ft"], "or with m, cm or mm behind it"),
        (["--yes", "--magnets", "6", "--name", 'a"b'], "without quotes and backslashes"),
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


def test_a_worst_case_with_more_magnets_is_none_with_fewer():
    def line(condition, value):
        return {"row": "peak-clean", "condition": condition, "firmware": {"value": value}}

    lines = [line("clean-6", 0.10), line("clean-12", 0.11), line("clean-24", 0.05), line("dirty-6", 0.4)]
    kinds = table({"reps": 500, "lines": lines})["kinds"]
    assert {name: entry["peak_percent"] for name, entry in kinds.items()} == {
        "clean-6": 0.11,
        "clean-12": 0.11,
        "clean-24": 0.05,
        "dirty-6": 0.4,
    }
