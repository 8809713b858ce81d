"""``brakebeat report`` as it is typed: what it writes, and what it says when it cannot."""

from pathlib import Path

import pytest

from brakebeat.cli import main
from brakebeat.store import open_store
from tests.report.reading import Page
from tests.report.weeks import FIRST, session, six_weeks
from tests.store.made_up import rep


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "log.brakebeat"
    with open_store(path) as store:
        six_weeks(store)
        session(store, FIRST, [[rep(0, 500.0)]], athlete="Odo Fenn")
    return path


def report(file: Path, *words: str) -> int:
    return main(["report", *words, "--store", str(file)])


def test_session_and_athlete(file: Path, tmp_path: Path) -> None:
    out = tmp_path / "page.html"
    assert report(file, "2", "--out", str(out)) == 0
    assert "Session 2: Mara Quill" in Page(out.read_bytes()).text
    assert report(file, "mara quill", "--out", str(out)) == 0
    assert len(Page(out.read_bytes()).table("Sessions in this report").rows) == 6
    assert report(file, "athlete:Odo Fenn", "--out", str(out)) == 0
    assert "Odo Fenn" in Page(out.read_bytes()).text


def test_own_name_in_this_folder(file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert report(file, "1") == 0
    assert report(file, "Odo Fenn") == 0
    assert {path.name for path in tmp_path.glob("*.html")} == {"session-1.html", "report-odo-fenn.html"}


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["99"], "session 99: not in"),
        (["Mara Quil"], "did you mean 'Mara Quill'?"),
        (["1", "--out", "page.pdf"], "end the name in .html"),
        (["1", "--out", "no/such/folder/page.html"], "page.html"),
        (["1", "--weeks", "-1"], "--weeks: -1"),
        (["1", "--force", "nan"], "--force: nan"),
        (["1", "--force", "0"], "--force: 0"),
        (["٣"], "athlete"),
        ([""], "athlete"),
    ],
)
def test_errors_name_what_was_wrong(
    file: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    words: list[str],
    told: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    before = sorted(tmp_path.iterdir())
    assert report(file, *words) == 2
    assert told in capsys.readouterr().err
    assert sorted(tmp_path.iterdir()) == before


def test_empty_store_and_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert report(tmp_path / "none.brakebeat", "1") == 2
    assert "there is no store yet" in capsys.readouterr().err
    with open_store(tmp_path / "empty.brakebeat"):
        pass
    assert report(tmp_path / "empty.brakebeat", "Mara Quill") == 2
    assert "none yet" in capsys.readouterr().err
    assert report(tmp_path / "empty.brakebeat", "1") == 2
    assert "session 1: not in" in capsys.readouterr().err


def test_athlete_without_sets(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from brakebeat.store.catalog import add_named

    with open_store(file) as store:
        add_named(store, "athlete", "Nell Tarn")
    assert report(file, "Nell Tarn") == 2
    assert "no sets yet" in capsys.readouterr().err


def test_a_plan_that_cannot_be_read_is_no_plan(file: Path, tmp_path: Path) -> None:
    from brakebeat.store.catalog import add_plan, find_named

    with open_store(file) as store:
        athlete = find_named(store, "athlete", "Odo Fenn")
        add_plan(store, athlete, {"title": 3, "start": "soon", "sessions": [{}]})
    out = tmp_path / "page.html"
    assert report(file, "Odo Fenn", "--out", str(out)) == 0
    assert "No plan is kept" in Page(out.read_bytes()).text
