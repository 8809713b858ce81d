"""`brakebeat bench`: its document, its table in the README, and the parts of it that are not tested elsewhere."""

import importlib
import json
import re
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from brakebeat.bench import document as documents
from brakebeat.bench.parts import PARTS, many, reference
from brakebeat.bench.parts.figure import Figure, Measured, NotRun, Scale
from brakebeat.bench.parts.plain import METHODS, Score, scored
from brakebeat.bench.peak_methods.homespun import homespun
from brakebeat.bench.reference_cost import Cost
from brakebeat.cli import main
from brakebeat.errors import InputError
from brakebeat.simulate import default_recording, default_sensed

TOP = Path(__file__).resolve().parents[2]
README = TOP / "README.md"
KEPT = TOP / ".readme" / "bench.json"


def _document(monkeypatch, *figures, not_run=()):
    monkeypatch.setattr(documents, "run_part", lambda *_: Measured(list(figures), list(not_run)))
    return list(documents.measure(["start"], Scale(), lambda _: None))[-1]


def test_limits_hold_both_ways():
    assert Figure("a", "b", 2.0, "s").ok is None
    assert Figure("a", "b", 2.0, "s", 2.0).ok is True
    assert Figure("a", "b", 2.1, "s", 2.0).ok is False
    assert Figure("a", "b", 2.1, "s", 2.0, at_least=True).ok is True
    assert Figure("a", "b", 1.9, "s", 2.0, at_least=True).ok is False


def test_a_part_is_a_table_with_units_in_the_heads_and_broken_limits_bold(monkeypatch):
    document = _document(
        monkeypatch,
        Figure("one", "time", 0.123456, "s", 0.1),
        Figure("one", "pace", 1234567.0, "edges/s", 1e6, at_least=True),
        Figure("two", "pace", 0.0, "edges/s"),
        not_run=[NotRun("three", "no time")],
    )
    lines = documents.markdown(document).splitlines()
    assert "| | time, s | pace, edges/s |" in lines
    assert "| one | **0.123** (≤ 0.1) | 1,234,567 (≥ 1,000,000) |" in lines
    assert "| two |  | 0 |" in lines
    assert "Not run: three (no time)." in lines
    assert documents.failed(document) == ["start: one: time"]


@pytest.mark.parametrize(
    ("value", "text"),
    [(None, "–"), (0.0, "0"), (20.0, "20"), (83123.0, "83,123"), (1234.5, "1,230"), (0.012345, "0.0123")],
)
def test_numbers_have_three_digits_that_count(value, text):
    assert documents.number(value) == text


def test_a_part_that_cannot_be_run_is_told_and_the_others_are_run(monkeypatch):
    def run_part(name, _scale):
        if name == "rate":
            raise InputError("no VM")
        return Measured([Figure("x", "y", 1.0, "s")])

    monkeypatch.setattr(documents, "run_part", run_part)
    parts = list(documents.measure(["rate", "start"], Scale(), lambda _: None))[-1]["parts"]
    assert parts["rate"]["not_run"] == [{"what": "all of it", "why": "no VM"}]
    assert len(parts["start"]["figures"]) == 1


def test_the_table_takes_its_place_and_nothing_else_changes(monkeypatch, tmp_path):
    document = _document(monkeypatch, Figure("x", "y", 1.0, "s"))
    page = tmp_path / "page.md"
    page.write_text(f"before\n\n{documents.BEGIN}\nold\n{documents.END}\n\nafter\n", encoding="utf-8")
    documents.put_into(page, document)
    once = page.read_text(encoding="utf-8")
    assert once.startswith(f"before\n\n{documents.BEGIN}\n\n*{PARTS['start']}*")
    assert once.endswith(f"{documents.END}\n\nafter\n")
    assert "old" not in once
    documents.put_into(page, document)
    assert page.read_text(encoding="utf-8") == once


def test_a_page_without_marks_is_left_alone(monkeypatch, tmp_path):
    page = tmp_path / "page.md"
    page.write_text("nothing here\n")
    with pytest.raises(InputError, match=r"page\.md: no lines <!-- made by"):
        documents.put_into(page, _document(monkeypatch))
    assert page.read_text() == "nothing here\n"


def test_parts_of_an_earlier_run_are_kept_in_the_parts_order(monkeypatch, tmp_path):
    file = tmp_path / "earlier.json"
    earlier = _document(monkeypatch, Figure("old", "y", 1.0, "s"))
    earlier["parts"]["board"] = earlier["parts"]["start"]
    documents.write_json(earlier, file)
    new = _document(monkeypatch, Figure("new", "y", 1.0, "s"))
    made = documents.together(documents.read_earlier(file), new)
    assert list(made["parts"]) == ["board", "start"]
    assert [part["figures"][0]["what"] for part in made["parts"].values()] == ["old", "new"]


@pytest.mark.parametrize("content", ["", "[]", '{"schema": 1}', '{"schema": 1, "parts": {"speed": {}}}'])
def test_what_is_no_earlier_run(content, tmp_path):
    file = tmp_path / "earlier.json"
    file.write_text(content)
    with pytest.raises(InputError, match=r"earlier\.json: holds no document"):
        documents.read_earlier(file)


def test_the_command_measures_what_it_is_asked_for(capsys):
    code = main(["bench", "--quick", "--only", "start", "--json", "-"])
    document = json.loads(capsys.readouterr().out)
    assert list(document["parts"]) == ["start"]
    part = document["parts"]["start"]
    assert part["quick"] is True
    assert code == (1 if documents.failed(document) else 0)
    assert {figure["unit"] for figure in part["figures"]} == {"s"}
    assert all(figure["value"] > 0 for figure in part["figures"])


def test_what_is_measured_is_kept_though_the_next_part_is_interrupted(monkeypatch, tmp_path, capsys):
    def run_part(name, _scale):
        if name == "store":
            raise KeyboardInterrupt
        return Measured([Figure("x", "y", 1.0, "s")])

    monkeypatch.setattr(documents, "run_part", run_part)
    file = tmp_path / "bench.json"
    assert main(["bench", "--only", "start", "store", "--json", str(file)]) == 130
    assert list(documents.read_earlier(file)["parts"]) == ["start"]
    assert "stopped" in capsys.readouterr().err


def test_wrong_calls(capsys, tmp_path):
    assert main(["bench", "--only", "start", "--readme", str(tmp_path / "absent.md")]) == 2
    assert "absent.md: cannot be read (No such file or directory)" in capsys.readouterr().err
    with pytest.raises(SystemExit):
        main(["bench", "--only", "speed"])


def test_the_readmes_table_is_what_the_command_made():
    """Nobody edits a figure by hand: the table is that of the document which `--json` wrote beside."""
    text = README.read_text(encoding="utf-8")
    between = text.split(documents.BEGIN)[1].split(documents.END)[0]
    document = json.loads(KEPT.read_text(encoding="utf-8"))
    assert list(document["parts"]) == list(PARTS)
    assert not any(part["quick"] for part in document["parts"].values())
    assert between.strip() == documents.markdown(document).strip()


def test_the_documents_list_every_part():
    section = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8").split("### `brakebeat bench`\n")[1]
    assert set(PARTS) <= set(re.findall(r"`(\w+)`", section.split("\n## ")[0]))


@pytest.mark.parametrize("name", PARTS)
def test_every_part_is_there(name):
    assert callable(importlib.import_module(f"brakebeat.bench.parts.{name}").measure)


def test_many_recordings_are_checked_with_all_cores_and_with_one(monkeypatch):
    monkeypatch.setattr(many, "_PROBE", 2)
    monkeypatch.setattr(many, "_REPS", 2)
    monkeypatch.setattr(many, "usable_cores", lambda: 2)
    measured = many.measure(Scale(budget_s=0.1))
    assert [(missing.what, missing.why.startswith("some ")) for missing in measured.not_run] == [
        ("1,000 recordings (2 instead)", True)
    ]
    assert [(figure.figure, figure.unit) for figure in measured.figures] == [
        ("pass", ""),
        ("all cores (2)", "recordings/s"),
        ("one process", "recordings/s"),
        ("speed-up", "×"),
        ("of processor by one", "s a recording"),
    ]
    assert measured.figures[0].value == 2
    assert measured.figures[4].value > 0.01
    assert measured.figures[3].value == pytest.approx(measured.figures[1].value / measured.figures[2].value)


@pytest.mark.parametrize("seed", [1, 2])
def test_the_homespun_way_finds_clean_reps_and_their_speed(seed):
    recording, truth = default_recording(seed, reps=5)
    peaks = homespun(recording)
    assert len(peaks) == 5
    for peak, rep in zip(peaks, truth["reps"], strict=True):
        assert peak.peak_rad_s == pytest.approx(rep["peak_rad_s"], rel=0.02)
        assert abs(peak.t_us - rep["peak_us"]) < 200_000


def test_the_homespun_way_on_next_to_nothing():
    few = default_recording(1, reps=2)[0]
    cut = SimpleNamespace(rig=few.rig, t_us=few.t_us[:7], step=np.zeros(7, np.int8))
    assert homespun(cut) == []


def test_a_score_counts_missed_and_invented_reps():
    sensed = default_sensed(1, reps=3)
    reps = sensed.truth["reps"]
    right = [(rep["peak_us"], 1.02 * rep["peak_rad_s"]) for rep in reps]
    score = Score()
    score.add(sensed, [*right[:2], (right[1][0] + 40_000, 1.0), (0, 50.0)])
    assert (score.missed, score.invented) == (1, 2)
    assert score.errors == pytest.approx([0.02, 0.02])


def test_every_method_sees_the_same_recordings():
    sensed = [default_sensed(1, reps=2)]
    scores = {method: scored(sensed, peaks_of) for method, peaks_of in METHODS.items()}
    assert {score.edges for score in scores.values()} == {len(sensed[0].recording.t_us)}
    assert all(score.seconds > 0 for score in scores.values())
    assert [scores[method].missed for method in ("firmware", "reference")] == [0, 0]


def test_sizes_that_do_not_fit_the_budget_are_told(monkeypatch):
    def cost(kind, edges):
        assert edges <= 100_000
        return Cost(kind, edges, 1, edges / 1000, 100, 100 + 3 * edges)

    monkeypatch.setattr(reference, "in_own_process", cost)
    # Enough for the first two sizes of each kind.
    measured = reference.measure(Scale(budget_s=150.0 * len(reference.KINDS)))
    assert [missing.what for missing in measured.not_run if missing.what.startswith("clean-6")] == [
        "clean-6, 1,000,000 edges",
        "clean-6, 10,000,000 edges",
    ]
    assert "of --budget" in measured.not_run[0].why
    growth = [figure for figure in measured.figures if figure.figure == "growth"]
    assert [figure.value for figure in growth] == pytest.approx([1.0] * len(reference.KINDS))
    assert {figure.value for figure in measured.figures if figure.unit == "B an edge"} == {3.0}
