"""`brakebeat calibrate` as it is called: JSON, pictures, consent, the old rig file, errors."""

import json

import pytest

from brakebeat.calibrate.cautions import GUIDES
from brakebeat.calibrate.result import FLAGS
from brakebeat.cli import main
from brakebeat.formats.recording import write_recording
from brakebeat.formats.rig import Rig, read_rig, write_rig
from brakebeat.simulate import Wheel, preset, sense_fully, spin_down
from brakebeat.simulate.calibrating import falling_mass, slow_pulls


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("calibrate")
    wheel = Wheel()
    motions = {
        "spin": spin_down(wheel, 25),
        "loaded": spin_down(Wheel(inertia_kg_m2=0.15), 25),
        "fall": falling_mass(wheel, 3.0, 1.2, left_m=0.1),
        "pull": slow_pulls(wheel, [0.3] * 4, pause_s=3),
    }
    for name, motion in motions.items():
        made = sense_fully(motion, preset("clean", 6), 1).recording
        write_recording(folder / f"{name}.csv", made.t_us, made.step, made.header)
    return folder


CALLS = {
    "magnets": (["spin.csv"], {"offsets_rad"}),
    "friction": (["spin.csv"], {"friction_torque_nm", "friction_viscous_nm_s", "friction_drag_nm_s2"}),
    "inertia": (["fall.csv", "--falling-mass", "3.0", "--left-on-drum", "0.1"], {"inertia_kg_m2"}),
    "strap": (["pull.csv", "--pulled", "0.3", "0.3", "0.3", "0.3"], {"drum_radius_m", "strap_thickness_m"}),
    "zero": (["pull.csv", "--at", "1000"], {"zero_index"}),
}


def _call(files, kind, *more):
    words = [str(files / word) if word.endswith(".csv") else word for word in CALLS[kind][0]]
    return main(["calibrate", kind, *words, *more])


@pytest.mark.parametrize("kind", CALLS)
def test_json_is_one_document_with_matching_keys(files, kind, capsys, tmp_path):
    assert _call(files, kind, "--json", "--plot", str(tmp_path / "fit.png")) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == 1
    assert document["kind"] == kind
    assert set(document["estimate"]) == set(document["uncertainty"]) == CALLS[kind][1]
    assert set(document["flags"]) <= set(FLAGS)
    assert (tmp_path / "fit.png").read_bytes().startswith(b"\x89PNG")


def test_two_spins_are_drawn_and_dimensions_have_nothing_to_draw(files, capsys, tmp_path):
    picture = tmp_path / "fit.png"
    spins = [str(files / name) for name in ("spin.csv", "loaded.csv")]
    assert main(["calibrate", "inertia", *spins, "--added-inertia", "0.03", "--plot", str(picture)]) == 0
    assert picture.read_bytes().startswith(b"\x89PNG")
    other = tmp_path / "none.png"
    assert main(["calibrate", "inertia", "--disc", "0.1", "0.02", "kg=5", "--plot", str(other)]) == 2
    assert "no fit to draw" in capsys.readouterr().err
    assert not other.exists()


@pytest.mark.parametrize("kind", CALLS)
def test_text_gives_figures_with_their_uncertainty(files, kind, capsys):
    assert _call(files, kind) == 0
    assert "±" in capsys.readouterr().out


@pytest.mark.parametrize("kind", CALLS)
def test_how_gives_the_caution_first(kind, capsys):
    assert main(["calibrate", kind, "--how"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Caution: ")
    assert GUIDES[kind][1] in out


def test_writing_keeps_the_old_file_and_the_comments(files, tmp_path, capsys):
    rig = tmp_path / "rig.toml"
    write_rig(rig, Rig(pulses_per_rev=6))
    old = "# my own words\n" + rig.read_text()
    rig.write_text(old)
    assert _call(files, "magnets", "--write", str(rig), "--yes") == 0
    assert _call(files, "inertia", "--write", str(rig), "--yes") == 0
    assert (tmp_path / "rig.toml.old-1").read_text() == old
    assert (tmp_path / "rig.toml.old-2").exists()
    assert rig.read_text().startswith("# my own words\n")
    written = read_rig(rig)
    assert len(written.magnet_offsets_rad) == 6
    assert written.inertia_kg_m2 == pytest.approx(0.12, rel=0.01)
    assert "inertia_kg_m2 is not known yet" not in rig.read_text()


def test_a_bare_rig_with_a_table_gets_the_key_above_it(files, tmp_path):
    rig = tmp_path / "rig.toml"
    rig.write_text("pulses_per_rev = 6\n[cues]\nlate_cue = false\n")
    assert _call(files, "inertia", "--write", str(rig), "--yes") == 0
    assert read_rig(rig).inertia_kg_m2 == pytest.approx(0.12, rel=0.01)
    assert not read_rig(rig).cues.late_cue


def test_nothing_is_written_without_consent(files, tmp_path, capsys, monkeypatch):
    rig = tmp_path / "rig.toml"
    rig.write_text("pulses_per_rev = 6\n")
    assert _call(files, "magnets", "--write", str(rig)) == 2
    assert "--yes" in capsys.readouterr().err

    class Hesitant:
        def isatty(self):
            return True

        def readline(self):
            return "\n"

    monkeypatch.setattr("sys.stdin", Hesitant())
    assert _call(files, "magnets", "--write", str(rig)) == 0
    assert rig.read_text() == "pulses_per_rev = 6\n"
    assert [path.name for path in tmp_path.iterdir()] == ["rig.toml"]


def test_a_result_that_is_no_rig_leaves_the_file_alone(files, tmp_path, capsys):
    rig = tmp_path / "rig.toml"
    rig.write_text("pulses_per_rev = 4\n")
    assert _call(files, "magnets", "--write", str(rig), "--yes") == 2
    assert str(rig) in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["rig.toml"]
    assert rig.read_text() == "pulses_per_rev = 4\n"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["magnets"], "--how"),
        (["magnets", "none.csv"], "none.csv"),
        (["inertia"], "--falling-mass"),
        (["inertia", "{spin}"], "say what the recording is of"),
        (["inertia", "{spin}", "--added-inertia", "0.03"], "2 needed"),
        (["inertia", "--disc", "0.2", "0.01", "cheese"], "cheese"),
        (["inertia", "--disc", "x", "0.01", "iron"], "'x'"),
        (["inertia", "--annulus", "0.3", "0.2", "0.01", "iron"], "swap"),
        (["inertia", "--bolts", "1.5", "0.02", "0.1"], "1.5"),
        (["strap", "{pull}"], "--pulled"),
        (["strap", "{pull}", "--pulled", "0.3", "0.3", "0.3", "0.3", "0.3", "0.3"], "pauses"),
    ],
)
def test_errors_say_what_was_wrong(files, words, says, capsys):
    filled = [word.format(spin=files / "spin.csv", pull=files / "pull.csv") for word in words]
    assert main(["calibrate", *filled]) == 2
    out, err = capsys.readouterr()
    assert says in err
    assert not out


def test_dimensions_alone_need_no_recording(capsys):
    assert main(["calibrate", "inertia", "--disc", "0.5", "0.01", "kg=2.0", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["estimate"]["inertia_kg_m2"] == pytest.approx(0.25)
    assert main(["calibrate", "inertia", "--disc", "0.2", "0.01", "steel", "--json"]) == 0
    assert "density_from_memory" in json.loads(capsys.readouterr().out)["flags"]


def test_added_inertia_over_the_command(files, capsys):
    words = [str(files / "spin.csv"), str(files / "loaded.csv"), "--added-inertia", "0.03", "--json"]
    assert main(["calibrate", "inertia", *words]) == 0
    assert json.loads(capsys.readouterr().out)["estimate"]["inertia_kg_m2"] == pytest.approx(0.12, rel=0.002)
