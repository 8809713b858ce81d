"""The doctor on simulated wheels: each fault found, sound wheels left alone, the command as it is called."""

import dataclasses
import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brakebeat.cli import main
from brakebeat.doctor.board_side import judge_board
from brakebeat.doctor.examine import examine
from brakebeat.doctor.findings import Checkup
from brakebeat.doctor.rates import CASES, rates, spun
from brakebeat.doctor.turns import edges_of_a_turn
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording, write_recording
from brakebeat.formats.rig import Rig
from brakebeat.link.messages import decode_status
from tests.link.fake_board import FakeBoard

SEEDS = range(3000, 3004)


def seeds_for(name):
    """An encoder's edges are many: one of its wheels takes as long as four others."""
    return SEEDS[:1] if "encoder" in name else SEEDS


@pytest.mark.parametrize("name", [name for name in CASES if name.startswith("sound")])
def test_no_false_alarm_on_a_sound_wheel(name):
    assert rates([name], seeds_for(name))[name] == []


@pytest.mark.parametrize("name", [name for name in CASES if not name.startswith("sound")])
def test_a_fault_is_found(name):
    # `python -m brakebeat.doctor.rates` has the rates over more seeds: one in twenty or so may be missed.
    assert rates([name], seeds_for(name))[name] == []


def gaps(pattern, turns=20, noise=1e-4, seed=0):
    """Gaps of a wheel that slows down, ``pattern`` a turn."""
    rng = np.random.default_rng(seed)
    angles = np.tile(pattern, turns)
    return angles * np.linspace(1.0, 1.5, len(angles)) * (1 + noise * rng.standard_normal(len(angles)))


def test_a_turn_is_counted_from_its_pattern():
    pattern = np.array([1.0, 1.04, 0.97, 1.02, 0.99])
    turn = edges_of_a_turn(gaps(pattern), 5)
    assert (turn.count, turn.agrees) == (5, True)
    wrong = edges_of_a_turn(gaps(pattern), 6)
    assert (wrong.count, wrong.agrees, wrong.places) == (5, False, None)


def test_a_gap_of_two_spacings_is_a_missing_magnet():
    turn = edges_of_a_turn(gaps(np.array([1.0, 2.03, 0.98, 1.01, 1.02])), 6)
    assert (turn.count, turn.places) == (5, (0, 1, 3, 4, 5))


def test_even_spacing_is_not_counted():
    turn = edges_of_a_turn(gaps(np.ones(6)), 6)
    assert (turn.count, turn.agrees) == (None, True)


def test_magnets_nearly_alike_twice_a_turn_are_no_half_turn():
    alike = np.array([1.0, 1.02, 1.0003, 1.0197])
    assert edges_of_a_turn(gaps(alike, noise=3e-5), 4).agrees
    # The same wheel with the same scatter, but two magnets: half a turn is all that there is.
    turn = edges_of_a_turn(gaps(np.array([1.0, 1.02]), turns=40, noise=3e-5), 4)
    assert (turn.count, turn.agrees) == (2, False)


def test_strays_behind_the_tracked_part_count():
    # Both lost the count early in a storm of stray edges, and called the rest of the recording sound.
    assert rates(["2 stray edges a second"], range(4, 5))["2 stray edges a second"] == []
    assert rates(["2 stray edges a second"], range(28, 29))["2 stray edges a second"] == []
    # In this one no edge could be followed at all.
    assert rates(["2 stray edges a second"], range(30007, 30008))["2 stray edges a second"] == []


def test_a_wheel_that_was_spun_again_is_no_storm_of_strays():
    first, second = (spun(seed, 6).recording for seed in (1, 2))
    times = np.concatenate([first.t_us, second.t_us + first.t_us[-1] + 5_000_000])
    checkup = examine(Recording(times, np.zeros(len(times), np.int8), first.header))
    assert checkup.level("noise") == "good"


@settings(max_examples=60)
@given(st.lists(st.integers(1, 10**6), min_size=1, max_size=120), st.integers(1, 12))
def test_whatever_edges_are_a_finding_not_a_crash(steps, magnets):
    times = np.cumsum(np.array(steps, np.int64))
    recording = Recording(times, np.zeros(len(times), np.int8), {"pulses_per_rev": str(magnets)})
    try:
        checkup = examine(recording)
    except InputError as error:
        assert "as in a set" in str(error)  # noqa: PT017 - the only thing that it may refuse
        return
    assert checkup.findings
    json.dumps(checkup.to_document(), allow_nan=False)


# -- what the board says -------------------------------------------------------------------------------------


def status(**values):
    whole = decode_status(FakeBoard().status_message())
    return dataclasses.replace(whole, **({"trouble": "", "overrun": 0, "raw_lost": 0} | values))


@pytest.mark.parametrize(
    ("supply_mv", "level", "words"),
    [
        (None, "unknown", "does not measure"),
        (3200, "mend", "it is empty"),
        (3400, "look", "nearly empty"),
        (3900, "good", "3.90 V"),
        (9000, "look", "check supply_scale"),
    ],
)
def test_the_supply(supply_mv, level, words):
    checkup = Checkup()
    judge_board(checkup, status(supply_mv=supply_mv), Rig(pulses_per_rev=6))
    (found,) = [finding for finding in checkup.findings if finding.check == "supply"]
    assert found.level == level
    assert words in found.words + found.advice


def test_what_the_board_lost_and_says():
    checkup = Checkup()
    judge_board(checkup, status(overrun=7, trouble="no sensor"), Rig(pulses_per_rev=6), "another rig file")
    said = " ".join(finding.words for finding in checkup.findings)
    assert "lost 7 edges" in said
    assert "the board says: no sensor" in said
    assert "another rig file" in said
    sound = Checkup()
    judge_board(sound, status(supply_mv=4000), Rig(pulses_per_rev=6))
    assert [finding.level for finding in sound.findings] == ["good", "good"]


# -- the command ---------------------------------------------------------------------------------------------


@pytest.fixture
def file(tmp_path):
    def write(recording):
        path = tmp_path / "spin.csv"
        write_recording(path, recording.t_us, recording.step, recording.header)
        return str(path)

    return write


def test_a_sound_recording_passes(file, capsys):
    assert main(["board", "doctor", "--recording", file(spun(1).recording)]) == 0
    assert capsys.readouterr().out.endswith("verdict: sound\n")


def test_a_weak_magnet_fails_with_what_to_do(file, capsys):
    recording, number = CASES["a magnet misses 3 of 10"].make(1)
    path = file(recording)
    assert main(["board", "doctor", "--recording", path, "--json"]) == 1
    document = json.loads(capsys.readouterr().out)
    assert document["verdict"] == "fail"
    assert document["magnets"][number - 1]["missed"] > 2
    assert main(["board", "doctor", "--recording", path]) == 1
    out = capsys.readouterr().out
    assert f"MEND   magnet {number} was missed in " in out
    assert "move it closer" in out


def test_live_with_the_caution_first(file, tmp_path, capsys):
    path = file(spun(2).recording)
    keep = tmp_path / "kept.csv"
    command = ["board", "doctor", "--virtual", path, "--speed", "20", "--keep", str(keep), "--json"]
    assert main(command) == 0
    out, err = capsys.readouterr()
    checks = {row["check"]: row["level"] for row in json.loads(out)["findings"]}
    assert checks["edges_per_turn"] == "good"
    assert checks["supply"] == "unknown"
    assert "board" in checks
    assert err.index("Caution: ") < err.index("connected to")
    assert keep.exists()


def test_a_recording_or_a_board(file, capsys):
    assert main(["board", "doctor", "--recording", file(spun(1).recording), "--live"]) == 2
    assert "a recording or a board" in capsys.readouterr().err


def test_a_set_is_refused_not_judged(capsys):
    assert main(["board", "doctor", "--recording", "sample:late"]) == 2
    assert "driven" in capsys.readouterr().err


def test_strays_that_spoil_the_fit_are_a_finding_too():
    # Seeds of the noisy wheel on which no fit is found, or one that ran away.
    for seed in (2, 24, 33):
        recording, _ = CASES["2 stray edges a second"].make(seed)
        assert not examine(recording).sound
