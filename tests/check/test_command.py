"""`brakebeat check` from the command line, with the two engines replaced by made-up ones."""

import io
import json

import pytest

import brakebeat.check.batch as batch
from brakebeat.check import compare, load_limits
from brakebeat.check.show import console_for, show_reports
from brakebeat.cli import main
from brakebeat.errors import InputError

from .builders import make_analysis, make_rep


@pytest.fixture
def recordings(tmp_path, monkeypatch):
    """Files named after what happens when they are checked: good, bad (a rep missing) or broken."""

    def check_file(file, job):
        name = file.rsplit("/")[-1]
        if name.startswith("broken"):
            raise InputError(f"{file}:3: t_us is not an integer")
        reference = make_analysis([make_rep(i, 2.2 * i) for i in range(8)])
        reps = reference.reps[1:] if name.startswith("bad") else reference.reps
        return compare(
            make_analysis(reps, "cpython" if "cpython" in name else "micropython"),
            reference,
            job.limits,
            file,
        )

    monkeypatch.setattr(batch, "check_file", check_file)

    def create(*names):
        for name in names:
            (tmp_path / name).touch()
        return [str(tmp_path / name) for name in names]

    return create


def run(capsys, *arguments):
    code = main(["check", "--jobs", "1", *arguments])
    return code, *capsys.readouterr()


def test_json_is_one_document_in_the_order_of_the_files(recordings, capsys):
    files = recordings("good2.csv", "bad.csv", "good1.csv")
    code, out, err = run(capsys, "--json", *files)
    document = json.loads(out)
    assert code == 1
    assert err == ""
    assert list(document) == ["schema", "verdict", "files"]
    assert (document["schema"], document["verdict"]) == (1, "fail")
    assert [entry["file"] for entry in document["files"]] == files
    assert [entry["verdict"] for entry in document["files"]] == ["pass", "fail", "pass"]


def test_a_missing_vm_is_told(recordings, capsys):
    assert "CPython" in run(capsys, *recordings("good-cpython.csv"))[2]
    assert run(capsys, *recordings("good.csv"))[2] == ""
    assert run(capsys, "--engine", "cpython", *recordings("good-cpython.csv"))[2] == ""


def test_good_files_pass(recordings, capsys):
    code, out, _ = run(capsys, *recordings("good1.csv", "good2.csv"))
    assert code == 0
    assert "verdict: pass (2 of 2 recordings)" in out
    assert "rad/s" in out


def test_a_missing_rep_is_named(recordings, capsys):
    code, out, _ = run(capsys, *recordings("bad.csv"))
    assert code == 1
    assert "found by the reference only: rep 1" in out
    assert "FAIL" in out


def test_broken_files_print_errors_only(recordings, capsys):
    code, out, err = run(capsys, "--json", *recordings("good.csv", "broken1.csv", "broken2.csv"))
    assert (code, out) == (2, "")
    assert "broken1.csv:3:" in err
    assert "broken2.csv:3:" in err


def test_missing_files_are_told_before_any_work(recordings, capsys, monkeypatch):
    files = recordings("good.csv")
    monkeypatch.setattr(batch, "check_file", lambda *_: pytest.fail("worked"))
    code, out, err = run(capsys, *files, "nowhere.csv")
    assert (code, out) == (2, "")
    assert "nowhere.csv: no such file" in err


def test_bad_limits_end_it(recordings, tmp_path, capsys):
    (tmp_path / "l.toml").write_text("[peak_rad_s]\n")
    code, out, err = run(capsys, "--limits", str(tmp_path / "l.toml"), *recordings("good.csv"))
    assert (code, out) == (2, "")
    assert "l.toml: peak_rad_s.limit: is missing" in err


@pytest.mark.parametrize("jobs", ["0", "-1", "two"])
def test_jobs_must_be_a_count(recordings, capsys, jobs):
    with pytest.raises(SystemExit) as ended:
        main(["check", "--jobs", jobs, *recordings("good.csv")])
    assert ended.value.code == 2
    assert "--jobs" in capsys.readouterr().err


def test_names_with_brackets_are_shown_as_they_are(recordings, capsys):
    _, out, _ = run(capsys, *recordings("good[red].csv"))
    # A long folder name may fold the line.
    assert "[red]" in out.replace("\n", "")


def test_cores_are_counted():
    assert batch.usable_cores() >= 1
    assert batch.check_files([], batch.Job(load_limits())) == []


def test_a_screen_without_greek_letters_is_no_reason_to_fail(recordings, tmp_path):
    recordings("bad.csv")
    report = batch.check_file(str(tmp_path / "bad.csv"), batch.Job(load_limits()))
    screen = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    show_reports([report], report.agreement, console_for(screen))
    screen.flush()
    assert b"verdict: FAIL" in screen.buffer.getvalue()
