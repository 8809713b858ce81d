"""`analyse` and `check` over folders and lists, from the command line."""

import json
import os
import signal
import subprocess
import sys
import time

import pytest

from brakebeat.cli import main

from .conftest import tree

COUNT = 5


def run(capsys, *arguments):
    code = main([*map(str, arguments)])
    return code, *capsys.readouterr()


@pytest.mark.parametrize("command", ["analyse", "check"])
def test_a_folder_is_one_document_with_the_bad_one_in_it(command, sets, capsys):
    code, out, err = run(
        capsys, command, sets, "--json", *(("--engine", "cpython") if command == "check" else ())
    )
    document = json.loads(out)
    assert code == 2
    assert list(document) == ["schema", *(["verdict"] if command == "check" else []), "files", "errors"]
    assert len(document["files"]) == COUNT
    assert document["errors"] == [
        {"file": f"{sets}/broken.csv", "exit_code": 2, "error": document["errors"][0]["error"]}
    ]
    assert document["errors"][0]["error"] in err
    if command == "check":
        assert document["verdict"] == "fail"
    else:
        assert document["files"][0]["analysis"]["engine"] == "reference"


def test_good_ones_in_a_list_pass_and_are_kept(sets, tmp_path, capsys):
    listed = tmp_path / "good.txt"
    listed.write_text("".join(f"{path}\n" for path in sorted(sets.rglob("set*.csv"))))
    out = tmp_path / "out"
    call = ["check", f"@{listed}", "--out", out, "--engine", "cpython"]
    code, shown, err = run(capsys, *call)
    assert code == 0
    assert "5 recordings: 5 worked out" in err
    assert "verdict: pass (5 of 5 recordings)" in shown
    before = tree(out)
    code, again, err = run(capsys, *call, "--jobs", "1")
    assert (code, again) == (0, shown)
    assert "5 kept from before" in err
    assert tree(out) == before
    # What the check has worked out, analyse need not.
    code, shown, err = run(capsys, "analyse", f"@{listed}", "--out", out, "--no-parquet")
    assert code == 0
    assert len(shown.splitlines()) == COUNT
    assert "5 kept from before" in err


def test_a_disagreement_is_a_failed_check(sets, tmp_path, capsys):
    from brakebeat.check.limits import shipped_limits

    limits = tmp_path / "limits.toml"
    limits.write_text(shipped_limits().read_text().replace("limit = 40_000", "limit = 1"))
    assert limits.read_text() != shipped_limits().read_text()
    code, _, _ = run(capsys, "check", sets / "monday", "--engine", "cpython", "--limits", limits)
    assert code == 1


def test_thousands_are_not_listed_but_for_those_that_fail(sets, capsys, monkeypatch):
    monkeypatch.setattr("brakebeat.check.show._LINES_FOR_ALL", 1)
    code, shown, _ = run(capsys, "check", sets / "monday", "--engine", "cpython")
    assert code == 0
    assert "set3.csv" not in shown
    assert "verdict: pass (2 of 2 recordings)" in shown


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["{sets}", "--no-parquet"], "--no-parquet: only --out"),
        (["{sets}", "--scheduler", "tcp://127.0.0.1:9", "--jobs", "2"], "--jobs: with --scheduler"),
        (["{sets}", "--out", "{sets}"], "holds other things"),
        (["{sets}", "--out", "{sets}/set1.csv"], "cannot be a folder for results"),
        (["@{sets}/absent.txt"], "absent.txt: the list cannot be read"),
        (["{sets}", "--rig", "{sets}/absent.toml"], "absent.toml: cannot be read"),
    ],
)
@pytest.mark.parametrize("command", ["analyse", "check"])
def test_wrong_calls_do_nothing(command, arguments, words, sets, capsys):
    before = tree(sets)
    code, out, err = run(capsys, command, *(word.format(sets=sets) for word in arguments))
    assert (code, out) == (2, "")
    assert words in err
    assert tree(sets) == before


@pytest.mark.skipif(not hasattr(os, "killpg"), reason="no process groups here")
def test_ctrl_c_leaves_a_folder_that_the_same_call_goes_on_with(sets, tmp_path):
    out = tmp_path / "out"
    call = [
        sys.executable,
        "-m",
        "brakebeat",
        "check",
        str(sets),
        "--engine",
        "cpython",
        "--json",
        "--jobs",
        "2",
    ]
    call += ["--out", str(out)]
    # As a terminal does: the whole group hears it.
    process = subprocess.Popen(
        call, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    while process.poll() is None and not list(out.glob("reference/*/*.json")):
        time.sleep(0.01)
    os.killpg(process.pid, signal.SIGINT)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "Traceback" not in err
    assert f"recordings were done, kept in {out}: the same call goes on from there" in err
    results = list(out.glob("*/*/*.json"))
    assert results
    assert not (out / "parquet").exists()
    done = subprocess.run(call, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "kept from before" in done.stderr
    assert len(json.loads(done.stdout)["files"]) == COUNT
