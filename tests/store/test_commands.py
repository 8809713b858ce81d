"""log, import, export as a coach types them."""

import io
import json
import os
import shutil

import pytest

from brakebeat.cli import main
from brakebeat.formats.recording import read_recording
from brakebeat.reference import analyse
from brakebeat.samples import find
from brakebeat.store.location import STORE_VARIABLE

IMPORT = [
    "import",
    "sample:late",
    "--athlete",
    "Mara Quill",
    "--exercise",
    "squat",
    "--at",
    "2026-11-02T18:00+01:00",
]


@pytest.fixture(scope="module")
def imported(tmp_path_factory):
    """A store into which sample:late went once; the reference takes its time."""
    path = tmp_path_factory.mktemp("imported") / "log.brakebeat"
    assert main([*IMPORT, "--store", str(path)]) == 0
    return path


@pytest.fixture
def run(imported, tmp_path, monkeypatch, capsys):
    """Calls the command on a copy of that store."""
    shutil.copy(imported, tmp_path / "log.brakebeat")
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "log.brakebeat"))

    def call(*arguments: str, code: int = 0) -> str:
        assert main(list(arguments)) == code
        streams = capsys.readouterr()
        assert "Traceback" not in streams.err
        return streams.err if code else streams.out

    return call


def test_a_recording_through_the_store(run, tmp_path):
    (again,) = json.loads(run(*IMPORT, "--json"))["files"]
    assert (again["session"], again["sets"], again["reps"], again["new"]) == (1, 1, 8, False)
    shown = json.loads(run("log", "show", "1", "--json"))
    assert shown["started"] == "2026-11-02T18:00:00+01:00"
    (one,) = shown["set_list"]
    wanted = analyse(read_recording(find("late"))).reps
    assert [rep["peak_rad_s"] for rep in one["reps"]] == pytest.approx(
        [rep.peak_rad_s for rep in wanted], rel=1e-14
    )
    # The wheel is fastest a little before phi = 0, for the strap can only pull.
    assert all(0.98 < rep["extension_rad_s"] / rep["peak_rad_s"] <= 1.0 for rep in one["reps"])
    assert "6 reps count" in run("log", "show", "1.1")
    assert "Mara Quill" in run("log") + run("log", "names")


def test_recomputed_by_the_other_engine_and_back(run):
    before = run("log", "show", "1", "--json")
    done = json.loads(run("log", "recompute", "--engine", "firmware", "--json"))
    assert [(each["reps_before"], each["reps_after"]) for each in done["sets"]] == [(8, 8)]
    (now,) = json.loads(run("log", "show", "1", "--json"))["set_list"]
    assert now["engine"] in ("micropython", "cpython")
    assert [cue["kind"] for cue in now["cues"]].count("late") >= 1
    run("log", "undo")
    assert run("log", "show", "1", "--json") == before


def test_recompute_keeps_sets_apart_and_taken_out_reps_out(run):
    run("import", "sample:sets", "--athlete", "Io", "--exercise", "pull", "--at", "2026-11-02T18:00")
    sets = json.loads(run("log", "show", "2", "--json"))["set_list"]
    assert len(sets) > 1
    run("log", "delete", "2.2.3", "--yes")
    run("log", "delete", "2.1", "--yes")
    run("log", "recompute", "2")
    after = json.loads(run("log", "show", "2", "--json"))["set_list"]
    assert [len(each["reps"]) for each in after] == [len(each["reps"]) for each in sets[1:]]
    assert [rep["number"] for rep in after[0]["reps"] if rep["taken_out"]] == [3]


def test_edits_notes_and_undoing(run):
    run("log", "note", "1", "fresh")
    run("log", "edit", "1.1", "exercise=belt squat")
    run("log", "edit", "athlete:mara quill", "name=Mara Q.")
    shown = json.loads(run("log", "show", "1", "--json"))
    assert (shown["athlete"], shown["exercises"], shown["notes"]) == ("Mara Q.", ["belt squat"], ["fresh"])
    for _ in range(3):
        run("log", "undo")
    shown = json.loads(run("log", "show", "1", "--json"))
    assert (shown["athlete"], shown["exercises"], shown["notes"]) == ("Mara Quill", ["squat"], [])
    assert run("log", "changes").count("(undone)") == 3


def test_notes_carry_the_numbers_by_which_they_are_taken_away(run):
    run("log", "note", "1", "fresh")
    assert "note 2 on set 1 of session 1" in run("log", "note", "1.1", "left\nknee")
    shown = run("log", "show", "1.1")
    assert "note 1: fresh" in shown
    assert "note 2: left" in shown
    run("log", "delete", "note:2", "--yes")
    assert "note 2" not in run("log", "show", "1")
    run("log", "undo")
    run("log", "undo")
    run("log", "edit", "athlete:mara quill", "name=Mara\nQ.")
    listed = run("log", "changes").splitlines()
    assert listed[0].endswith("athlete mara quill: name=Mara Q.")
    assert "note on set 1 of session 1  (undone)" in listed[2]


def test_an_import_remarks_on_a_name_that_may_be_a_slip(run, tmp_path, capsys):
    (tmp_path / "one.csv").write_bytes(find("clean").read_bytes())
    words = ["import", str(tmp_path / "one.csv"), "--athlete", "Mara Quil", "--exercise", "Squat"]
    assert main(words) == 0
    said = capsys.readouterr()
    assert "athlete 'Mara Quil' is new; there is 'Mara Quill', too" in said.err
    # Capitals make no other exercise.
    assert "exercise" not in said.err
    # The log counts those of them that count.
    assert "8 reps (momentum reps, too)" in said.out


def test_a_name_that_is_taken_is_said_in_words(run, tmp_path):
    run("log", "edit", "1", "athlete=Mara Quill")
    (tmp_path / "one.csv").write_bytes(find("clean").read_bytes())
    run("import", str(tmp_path / "one.csv"), "--athlete", "Io", "--exercise", "row")
    said = run("log", "edit", "athlete:Io", "name=mara quill", code=2)
    assert "already has an athlete of that name" in said
    assert "UNIQUE" not in said


@pytest.mark.parametrize(("answer", "gone"), [("y\n", True), ("n\n", False), ("", False)])
def test_deletion_asks(run, monkeypatch, answer, gone):

    monkeypatch.setattr("sys.stdin", io.StringIO(answer))
    run("log", "delete", "1", code=0 if gone else 2)
    assert json.loads(run("log", "--json"))["sessions"] == [] or not gone
    if gone:
        assert "undone" in run("log", "undo")
    assert len(json.loads(run("log", "--json"))["sessions"]) == 1


def test_export_and_back(run, tmp_path):
    for name in ("all.csv", "all.json", "all.parquet"):
        run("export", str(tmp_path / name))
    assert run("export", "-").encode() == (tmp_path / "all.csv").read_bytes()
    other = str(tmp_path / "other")
    (taken,) = json.loads(run("import", str(tmp_path / "all.json"), "--store", other, "--json"))["files"]
    assert taken["new"]["rep"] == 8
    run("export", str(tmp_path / "again.json"), "--store", other)
    assert (tmp_path / "again.json").read_bytes() == (tmp_path / "all.json").read_bytes()
    run("log", "backup", str(tmp_path / "copy"))
    assert run("log", "--store", str(tmp_path / "copy")) == run("log") == run("log", "--store", other, "list")
    assert "sound" in run("log", "verify")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("log", "show", "7"), "session 7"),
        (("log", "show", "1.9"), "no such set"),
        (("log", "show", "1.1.99"), "8 reps"),
        (("log", "show", "moo"), "athlete:NAME"),
        (("log", "show", "athlete:Mora Quill"), "did you mean 'Mara Quill'"),
        (("log", "edit", "1", "stratted=2026-01-01"), "did you mean started="),
        (("log", "edit", "1", "started=soon"), "no date"),
        (("log", "edit", "1.1.1", "x=1"), "nothing of it can be edited"),
        (("log", "delete", "exercise:squat", "--yes"), "has 1 set; give each another exercise"),
        (("log", "undo", "99"), "no change 99"),
        (("log", "note", "exercise:squat", "x"), "athlete, a session or a set"),
        (("log", "--store", "/dev/null/x"), "no store yet"),
        (("export", "x.doc"), ".csv, .parquet or .json"),
        (("export", "-", "--format", "parquet"), "needs a file"),
        (("import", "sample:late"), "--athlete and --exercise"),
        (("import", "absent.csv", "--athlete", "a", "--exercise", "b"), "absent.csv"),
        (("profile", "Mara Quill", "squat"), "3 inertias"),
    ],
)
def test_wrong_calls_say_what_is_wrong(run, arguments, words):
    assert words in run(*arguments, code=2)


def test_an_export_never_replaces_the_store(run, tmp_path):
    store = tmp_path / "log.brakebeat"
    assert "the store itself" in run("export", str(store), "--format", "json", code=2)
    os.link(store, tmp_path / "same")
    assert "the store itself" in run("export", str(tmp_path / "same"), "--format", "csv", code=2)
    assert "8" in run("log", "show", "1")


def test_recording_without_a_rep_is_refused(run, tmp_path):
    from brakebeat.formats.recording import write_recording
    from tests.store.made_up import recording

    made = recording()
    write_recording(tmp_path / "r.csv", made.t_us, made.step, made.header)
    call = [
        "import",
        str(tmp_path / "r.csv"),
        "--athlete",
        "a",
        "--exercise",
        "b",
        "--at",
        "2026-11-02T18:00",
    ]
    assert "no whole rep" in run(*call, code=2)
    assert len(json.loads(run("log", "--json"))["sessions"]) == 1
    assert json.loads(run("log", "names", "--json"))["athletes"][1:] == []


def test_another_rig_and_figures_anew(run, tmp_path):
    from brakebeat.formats.rig import write_rig
    from tests.store.made_up import RIG

    write_rig(tmp_path / "rig.toml", RIG.model_copy(update={"inertia_kg_m2": 0.24}))
    assert "recompute" in run("log", "edit", "1.1", f"rig={tmp_path / 'rig.toml'}")
    before = json.loads(run("log", "show", "1", "--json"))["set_list"][0]["reps"][4]
    run("log", "recompute")
    after = json.loads(run("log", "show", "1", "--json"))["set_list"][0]["reps"][4]
    # Twice the inertia is twice the power but for friction.
    ratio = after["concentric"]["mean_power_w"] / before["concentric"]["mean_power_w"]
    assert ratio == pytest.approx(2.0, rel=0.05)
    assert after["peak_rad_s"] == pytest.approx(before["peak_rad_s"], rel=1e-3)


def test_sets_of_another_athlete_do_not_join_a_session(run):
    call = ["import", "sample:clean", "--exercise", "squat", "--at", "2026-11-02T18:10", "--session", "1"]
    assert "is Mara Quill's" in run(*call, "--athlete", "Io", code=2)
    run(*call, "--athlete", "mara quill")
    assert len(json.loads(run("log", "show", "1", "--json"))["set_list"]) == 2
