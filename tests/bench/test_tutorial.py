"""The tutorial runs, shows what it says, and its call is the one that the README gives."""

import re
from pathlib import Path

from brakebeat.bench import tutorial
from brakebeat.bench.accuracy_table.rows import ROWS

README = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")


def test_one_set_is_held_against_the_truth(capsys):
    tutorial.one_recording()
    out = capsys.readouterr().out
    errors = [float(value) for value in re.findall(r"([+-]\d+\.\d+) %", out)]
    assert len(errors) == 24
    assert max(map(abs, errors)) < 0.5
    assert "missed" not in out


def test_rows_are_made_as_the_readmes_are(capsys, monkeypatch):
    rows = [row for row in ROWS if row.key in tutorial.ROWS_SHOWN]
    asked = []
    monkeypatch.setattr(tutorial, "one_recording", lambda: None)
    monkeypatch.setattr(
        tutorial.accuracy, "run_conditions", lambda kinds, *rest: asked.append((kinds, rest)) or []
    )
    assert tutorial.main(["--reps", "5"]) == 0
    assert {kind.name for kind in asked[0][0]} == {name for row in rows for name in row.conditions}
    assert asked[0][1][:2] == (5, tutorial.SEED_FROM)
    assert f"accuracy {' '.join(tutorial.README_CALL)} FILE" in capsys.readouterr().out


def test_the_readme_gives_the_same_call():
    assert f"python -m brakebeat.bench.accuracy {' '.join(tutorial.README_CALL)} FILE" in README
    assert "python -m brakebeat.bench.tutorial" in README
