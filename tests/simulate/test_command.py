"""``brakebeat simulate`` as called from a shell."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from brakebeat.cli import main
from brakebeat.formats.recording import read_recording
from brakebeat.simulate import Wheel, default_recording


def _call(tmp_path: Path, *options: str) -> int:
    return main(["simulate", "--out", str(tmp_path / "a.csv"), "--truth", str(tmp_path / "a.json"), *options])


def test_default_recording_and_truth(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert _call(tmp_path, "--seed", "4") == 0
    recording, truth = default_recording(4)
    written = read_recording(tmp_path / "a.csv")
    assert (written.t_us == recording.t_us).all()
    assert written.header == recording.header
    assert json.loads((tmp_path / "a.json").read_text()) == truth
    assert "8 reps" in capsys.readouterr().out


def test_json_is_one_document(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        _call(tmp_path, "--json", "--reps", "5", "--late", "2", "4", "--preset", "dirty", "--with-zero") == 0
    )
    summary = json.loads(capsys.readouterr().out)
    assert summary["reps"] == 5
    assert summary["late"] == [2, 4]
    written = read_recording(tmp_path / "a.csv")
    assert summary["pulses"] == len(written.t_us)
    assert written.rig.zero_index == summary["zero_index"]


def test_options_reach_the_physics(tmp_path: Path) -> None:
    options = "--reps 3 --encoder 96 --inertia-kg-m2 0.05 --brake-fraction 0.4 --range-rad 30"
    assert _call(tmp_path, *options.split(), "--brake-target", "0.7", "--pause-s", "1.5") == 0
    truth = json.loads((tmp_path / "a.json").read_text())
    written = read_recording(tmp_path / "a.csv")
    assert written.rig.pulses_per_rev == 96
    assert set(written.step) == {-1, 1}
    assert written.rig.inertia_kg_m2 == 0.05
    assert written.rig.brake_target == 0.7
    for rep in truth["reps"]:
        assert rep["brake_fraction"] == pytest.approx(0.4, abs=0.1)
        assert rep["eccentric_rad"] == pytest.approx(30.0, abs=2.5)
    assert truth["reps"][1]["start_us"] - truth["reps"][0]["end_us"] > 500_000


def test_hard_case_by_name(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert _call(tmp_path, "--case", "two_sets", "--magnets", "12") == 0
    assert read_recording(tmp_path / "a.csv").rig.pulses_per_rev == 12
    assert main(["simulate", "--list-cases"]) == 0
    assert "two_sets" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ("--brake-fraction 5", "--brake-fraction"),
        ("--effort 0", "--effort"),
        ("--magnets 40", "--magnets"),
        ("--magnets 0", "--magnets"),
        ("--encoder 2401", "--encoder"),
        ("--late 9", "--late"),
        ("--reps 0", "--reps"),
        ("--sets -2", "--sets"),
        ("--rest-s -4", "--rest-s"),
        ("--start-idle-s -1", "--start-idle-s"),
        ("--pause-s -1", "--pause-s"),
        ("--ramp-s 7", "--ramp-s"),
        ("--range-rad 0.1", "--range-rad"),
        ("--fatigue 2", "--fatigue"),
        ("--inertia-kg-m2 0", "--inertia-kg-m2"),
        ("--drum-radius-m -1", "--drum-radius-m"),
        ("--taper-m-per-rad -0.005", "--taper-m-per-rad"),
        ("--friction-torque-nm -1", "--friction-torque-nm"),
        ("--friction-torque-nm 60", "--effort"),
        ("--brake-target 3", "--brake-target"),
        ("--momentum-reps -1", "--momentum-reps"),
        ("--preset muddy", "--preset"),
        ("--hysteresis-rad 2", "--hysteresis-rad"),
        ("--placement-rad 2", "--placement-rad"),
        ("--missed 2", "--missed"),
        ("--missed 1", "--missed"),
        ("--bounced -1", "--bounced"),
        ("--spurious-per-s -1", "--spurious-per-s"),
        ("--jitter-us -1", "--jitter-us"),
        ("--wrap 3", "--wrap"),
        ("--wrap 1000000 --pause-s 3", "--wrap"),
        ("--from-s 1000", "--from-s"),
        ("--seed -1", "--seed"),
        ("--case no_such", "--case"),
        ("--case two_sets --reps 3", "--reps"),
        ("--two-halls --encoder 96", "--two-halls"),
        ("--truth /no/such/place.json", "/no/such/place.json"),
    ],
)
def test_bad_calls_name_the_option_and_write_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], options: str, told: str
) -> None:
    assert _call(tmp_path, *options.split()) == 2
    output = capsys.readouterr()
    assert told in output.err
    assert output.out == ""
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "options", ["--effort nan", "--reps two", "--jitter-us inf", "--magnets 3 --encoder 96"]
)
def test_bad_words_are_told_by_the_parser(tmp_path: Path, options: str) -> None:
    with pytest.raises(SystemExit) as exit_:
        _call(tmp_path, *options.split())
    assert exit_.value.code == 2
    assert list(tmp_path.iterdir()) == []


def test_out_is_needed_and_is_not_the_truth(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["simulate"]) == 2
    assert "--out" in capsys.readouterr().err
    both = str(tmp_path / "a")
    assert main(["simulate", "--out", both, "--truth", both]) == 2
    assert "--truth" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


NUMBERS = {
    "--effort": (0.0, 2.0),
    "--brake-fraction": (0.0, 1.0),
    "--ramp-s": (0.0, 1.0),
    "--pause-s": (0.0, 3.0),
    "--range-rad": (1.0, 80.0),
    "--inertia-kg-m2": (0.0, 2.0),
    "--drum-radius-m": (0.0, 0.1),
    "--strap-thickness-m": (0.0, 0.01),
    "--taper-m-per-rad": (-0.001, 0.001),
    "--friction-torque-nm": (0.0, 5.0),
    "--friction-viscous-nm-s": (0.0, 0.1),
    "--friction-drag-nm-s2": (0.0, 0.01),
}


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(values=st.fixed_dictionaries({}, optional={name: st.floats(*ends) for name, ends in NUMBERS.items()}))
def test_any_numbers_give_a_recording_or_an_error(tmp_path: Path, values: dict[str, float]) -> None:
    """Never a traceback, and what is written can be read."""
    words = [word for name, value in values.items() for word in (f"{name}={value!r}",)]
    code = _call(tmp_path, "--reps", "3", *words)
    assert code in (0, 2)
    if code == 0:
        truth = json.loads((tmp_path / "a.json").read_text())
        assert len(read_recording(tmp_path / "a.csv").t_us) == truth["pulses"]
        assert len(truth["reps"]) == 3


@pytest.mark.parametrize(
    ("motion", "calibration", "key"),
    [
        (["--spin", "30"], ["friction"], "friction_torque_nm"),
        (["--fall", "3"], ["inertia", "--falling-mass", "3"], "inertia_kg_m2"),
        (
            ["--pulls", "0.3", "0.3", "0.3", "0.3"],
            ["strap", "--pulled", "0.3", "0.3", "0.3", "0.3"],
            "drum_radius_m",
        ),
    ],
)
def test_a_recording_to_calibrate_with(tmp_path, capsys, motion, calibration, key):
    out, truth = str(tmp_path / "made.csv"), str(tmp_path / "truth.json")
    assert main(["simulate", "--out", out, "--truth", truth, *motion]) == 0
    capsys.readouterr()
    assert main(["calibrate", calibration[0], out, *calibration[1:], "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["estimate"][key]
    assert found == pytest.approx(getattr(Wheel(), key), rel=0.01)
    assert json.loads(Path(truth).read_text())["reps"] == []


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--spin", "30", "--late", "4"], "leave out --late"),
        (["--spin", "-3"], "--spin: "),
        (["--fall", "0.001"], "--fall: "),
        (["--pulls", "0.3", "-1"], "--pulls: "),
        (["--fall", "3", "--case", "nobody"], "leave out --case"),
    ],
)
def test_what_does_not_go_with_it_is_named(tmp_path, capsys, words, says):
    assert main(["simulate", "--out", str(tmp_path / "made.csv"), *words]) == 2
    assert says in capsys.readouterr().err
    assert not list(tmp_path.iterdir())
