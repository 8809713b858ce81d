"""Closed streams, and letters and bytes that a terminal's or the store's encoding lacks, bring no traceback."""

import json
import os
import subprocess
import sys

import pytest

pytestmark = pytest.mark.skipif(os.name != "posix", reason="file descriptors and locales of a POSIX system")

PLAIN = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
NO_TEXT = os.fsdecode(b"\xff\xfe.csv")


def run(*words, closed=(), **environment):
    def close():
        for number in closed:
            os.close(number)

    return subprocess.run(
        [sys.executable, "-m", "brakebeat", *words],
        capture_output=True,
        preexec_fn=close if closed else None,
        env={**os.environ, **environment},
        check=False,
    )


@pytest.mark.parametrize("closed", [(0,), (1,), (2,), (0, 1, 2)], ids=str)
@pytest.mark.parametrize("words", [["samples"], ["check", "sample:clean"]], ids=lambda words: words[0])
def test_a_closed_stream_is_none_of_a_commands_business(words, closed):
    ended = run(*words, closed=closed)
    assert (ended.returncode, ended.stderr) == (0, b"")


@pytest.mark.parametrize(
    "words", [["analyse", "sample:clean"], ["calibrate", "zero", "sample:clean"], ["replay", "sample:late"]]
)
def test_a_terminal_without_the_letters_gets_question_marks(words):
    ended = run(*words, **PLAIN)
    assert (ended.returncode, ended.stderr) == (0, b"")
    assert ended.stdout.isascii()


def test_json_is_the_same_whatever_the_encoding(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text('pulses_per_rev = 6\nname = "Ähre"\n', encoding="utf-8")
    ended = run("rig", "show", str(path), "--json", **PLAIN)
    assert json.loads(ended.stdout)["rig"]["name"] == "Ähre"


def test_a_file_name_that_is_no_text(tmp_path):
    log = {"BRAKEBEAT_STORE": str(tmp_path / "log.brakebeat")}
    path = tmp_path / NO_TEXT
    assert run("simulate", "--out", path, "--reps", "4").returncode == 0
    assert run("analyse", path).returncode == 0
    ended = run("import", path, "--athlete", "Io", "--exercise", "row", **log)
    assert (ended.returncode, b"Traceback" in ended.stderr) == (0, False)
    assert b"import of" in run("log", "changes", **log).stdout
    ended = run("import", "sample:clean", "--athlete", os.fsdecode(b"\xff"), "--exercise", "row", **log)
    assert ended.returncode == 2
    assert b"no text in this terminal's encoding" in ended.stderr
