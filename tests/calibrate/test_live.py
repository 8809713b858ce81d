"""`brakebeat calibrate` on live edges: the board's own firmware on the virtual radio plays what a hand would do."""

import json

import pytest

from brakebeat.cli import main
from brakebeat.formats.recording import read_recording, write_recording
from brakebeat.simulate import Wheel, preset, sense_fully, spin_down
from brakebeat.simulate.calibrating import slow_pulls


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("live")
    motions = {
        "spin": spin_down(Wheel(), 20),
        "loaded": spin_down(Wheel(inertia_kg_m2=Wheel().inertia_kg_m2 + 0.08), 20),
        "pull": slow_pulls(Wheel(), [0.3] * 4, pause_s=3),
    }
    for name, motion in motions.items():
        made = sense_fully(motion, preset("clean", 6, placement_rad=0.02), 1).recording
        write_recording(folder / f"{name}.csv", made.t_us, made.step, made.header)
    return folder


CALLS = {
    "magnets": ["spin"],
    "friction": ["spin"],
    "strap": ["pull", "--pulled", "0.3", "0.3", "0.3", "0.3"],
    "zero": ["pull"],
}


def live(files, folder, kind, names, *more):
    virtual = [word for name in names for word in ("--virtual", str(files / f"{name}.csv"))]
    return main(
        ["calibrate", kind, *virtual, "--speed", "20", "--keep", str(folder / "kept.csv"), "--json", *more]
    )


def close(one, other):
    """Times on the board's clock begin elsewhere: the fit is the same but for its last digits."""
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(close(one[key], other[key]) for key in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(close, one, other))
    return one == other or one == pytest.approx(other, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("kind", CALLS)
def test_live_edges_give_what_the_recording_gives(files, kind, tmp_path, capsys):
    name, *more = CALLS[kind]
    assert main(["calibrate", kind, str(files / f"{name}.csv"), "--json", *more]) == 0
    from_file = json.loads(capsys.readouterr().out)
    assert live(files, tmp_path, kind, [name], *more) == 0
    out, err = capsys.readouterr()
    assert close(json.loads(out)["estimate"], from_file["estimate"])
    assert err.index("Caution: ") < err.index("connected to")
    kept = read_recording(tmp_path / "kept.csv")
    assert len(kept.t_us) == len(read_recording(files / f"{name}.csv").t_us)


def test_two_takes_are_kept_apart(files, tmp_path, capsys):
    assert live(files, tmp_path, "inertia", ["spin", "loaded"], "--added-inertia", "0.08") == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["estimate"]["inertia_kg_m2"] == pytest.approx(Wheel().inertia_kg_m2, rel=0.02)
    assert "Take 1 of 2: the bare wheel" in err
    assert "Take 2 of 2: with the added inertia on" in err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["kept-1.csv", "kept-2.csv"]


def test_a_second_take_without_a_recording_to_play(files, tmp_path, capsys):
    assert live(files, tmp_path, "inertia", ["spin"], "--added-inertia", "0.08") == 2
    assert "--virtual: 2 recordings are needed" in capsys.readouterr().err


def test_a_kept_recording_is_not_written_over(files, tmp_path, capsys):
    (tmp_path / "kept.csv").write_text("mine")
    assert live(files, tmp_path, "magnets", ["spin"]) == 2
    assert "is there already; choose another name with --keep" in capsys.readouterr().err
    assert (tmp_path / "kept.csv").read_text() == "mine"


def test_a_board_or_a_recording(files, capsys):
    spin = str(files / "spin.csv")
    assert main(["calibrate", "magnets", spin, "--live"]) == 2
    assert "give recordings or a board" in capsys.readouterr().err


def test_no_such_port(tmp_path, capsys):
    port = str(tmp_path / "ttyACM7")
    assert main(["calibrate", "magnets", "--port", port, "--keep", str(tmp_path / "kept.csv")]) == 3
    assert "there is no such port" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())
