"""Options and questions."""

import argparse
import io
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from brakebeat.cli.board_options import add_board_arguments
from brakebeat.cli.session_options import add_session_arguments
from brakebeat.coach.options import _planned, chosen
from brakebeat.coach.plain import closing
from brakebeat.coach.session import CoachSession
from brakebeat.coach.terminal import TerminalCoach, bar, screen
from brakebeat.errors import InputError
from brakebeat.store import open_store
from brakebeat.store.catalog import add_named, add_plan
from brakebeat.training.block import BlockSettings
from tests.store.made_up import a_set

from .events import arrived, choice, connected


def options(*words):
    parser = argparse.ArgumentParser()
    add_session_arguments(parser)
    add_board_arguments(parser, several=False)
    return parser.parse_args([*words, "--virtual", "sample:clean"])


def test_questions_take_numbers_and_names(tmp_path):
    answers = iter(["1", "row"])
    with open_store(tmp_path / "log") as store:
        add_named(store, "athlete", "Mara Quill")
        picked = chosen(options("--reps", "5"), store, lambda question: next(answers))
    assert (picked.athlete, picked.exercise, picked.plan.reps) == ("Mara Quill", "row", 5)
    assert picked.rig.pulses_per_rev == 6


def test_what_is_missing_without_a_terminal_is_named(tmp_path, monkeypatch):
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    with open_store(tmp_path / "log") as store, pytest.raises(InputError, match="--athlete"):
        chosen(options("--exercise", "row"), store)


def test_the_plans_next_session_counts(tmp_path):
    sessions = [
        {"starts": "2031-03-01T18:00", "sets": 3, "reps": [6, 8], "rest_s": 150},
        {"starts": "2031-03-04T18:00", "sets": 5, "reps": [6, 7], "rest_s": 200},
    ]
    with open_store(tmp_path / "log") as store:
        number = add_plan(store, add_named(store, "athlete", "Mara Quill"), {"sessions": sessions})
        assert _planned(store, "mara quill", number, date(2031, 3, 2))["sets"] == 5
        assert _planned(store, "mara quill", number, date(2031, 3, 1))["reps"] == 8
        assert _planned(store, "mara quill", number, date(2032, 1, 1))["rest_s"] == 200
        with pytest.raises(InputError, match="no such plan"):
            _planned(store, "mara quill", number + 1, date(2031, 3, 1))


def test_a_plan_says_whose_it_is_and_of_what(tmp_path, monkeypatch):
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    with open_store(tmp_path / "log") as store:
        mara, io = (add_named(store, "athlete", name) for name in ("Mara Quill", "Io"))
        row = add_plan(store, mara, {"exercise": "row", "sessions": [{"starts": "2031-03-01", "sets": 2}]})
        unnamed = add_plan(store, io, {"exercise": BlockSettings.exercise})
        odd = add_plan(store, io, {"exercise": 3})
        picked = chosen(options("--plan", str(row)), store)
        assert (picked.athlete, picked.exercise, picked.plan.sets) == ("Mara Quill", "row", 2)
        assert chosen(options("--plan", str(row), "--exercise", "pull"), store).exercise == "pull"
        with pytest.raises(InputError, match="Io has no such plan"):
            chosen(options("--plan", str(row), "--athlete", "Io"), store)
        for plan in (unnamed, odd):
            with pytest.raises(InputError, match="--exercise: missing"):
                chosen(options("--plan", str(plan)), store)
        with pytest.raises(InputError, match=r"--plan 99: not in .*; `brakebeat plan --athlete NAME`"):
            chosen(options("--plan", "99"), store)


SPEED = st.one_of(st.none(), st.floats(0, 1e4))


@given(SPEED, SPEED, SPEED)
def test_a_bar_keeps_its_width(value, best, target):
    assert len(bar(value, best, target)) == 40


@pytest.mark.parametrize(("width", "height"), [(80, 24), (140, 40)])
def test_the_terminal_shows_count_brake_and_caution(width, height):
    session = CoachSession(choice(target_rad_s=90.0))
    session.take(connected(), 0.0)
    session.take(arrived(), 0.0)
    console = Console(width=width, height=height, record=True, file=io.StringIO())
    console.print(screen(session, 0.0, height))
    text = console.export_text()
    assert len(text.rstrip().splitlines()) <= height
    for wanted in ("Mara Quill", "REP", "set 1 of 4", "best ┃ 70", "target ▽ 90", "inside", "Keep clear"):
        assert wanted in text


def test_big_letters_are_drawn_on_a_terminal():
    session, out = CoachSession(choice()), io.StringIO()
    with TerminalCoach(session, Console(file=out, force_terminal=True, width=90, height=30)) as shown:
        session.take(connected(), 0.0)
        event = arrived(peak=71.25)
        shown.show(event, session.take(event, 0.0))
    assert "71.25 rad/s" in out.getvalue()
    assert closing(session) == ["set 1: 1 rep and 0 momentum reps, best 71.25 rad/s"]


def test_what_is_kept_with_the_sets_is_said_of_sets():
    session = CoachSession(choice())
    session.take(connected(), 0.0)
    session.edges_kept = True
    assert closing(session) == []
    session.take(arrived(), 0.0)
    assert "the raw edges are kept with the sets" in closing(session)[-1]


def test_a_session_goes_on_only_with_its_own_athlete(tmp_path):
    with open_store(tmp_path / "log") as store:
        session, _ = a_set(store, athlete="Mara Quill")
        call = ["--exercise", "row", "--session", str(session)]
        assert chosen(options("--athlete", "mara quill", *call), store).session_id == session
        with pytest.raises(InputError, match="is Mara Quill's"):
            chosen(options("--athlete", "Io", *call), store)
        with pytest.raises(InputError, match="--session 99"):
            chosen(options("--athlete", "Io", "--exercise", "row", "--session", "99"), store)


def test_a_wrong_answer_is_asked_again(tmp_path, capsys):
    answers = iter(["7", "", "2", "row"])
    with open_store(tmp_path / "log") as store:
        add_named(store, "athlete", "Io")
        add_named(store, "athlete", "Mara Quill")
        picked = chosen(options(), store, lambda question: next(answers))
    assert (picked.athlete, picked.exercise) == ("Mara Quill", "row")
    assert "a name is not a number" in capsys.readouterr().err


@pytest.mark.parametrize(("answer", "name"), [("", "Mara Quill"), ("n", "mara quil"), ("No", "mara quil")])
def test_a_name_much_like_a_known_one_is_asked_about(tmp_path, answer, name):
    asked = []

    def ask(question):
        asked.append(question)
        return answer

    with open_store(tmp_path / "log") as store:
        add_named(store, "athlete", "Mara Quill")
        add_named(store, "exercise", "squat")
        picked = chosen(options("--athlete", "mara quil", "--exercise", "Row"), store, ask)
    assert (picked.athlete, picked.exercise) == (name, "Row")
    (question,) = asked
    assert "'mara quil' is not known; Enter for 'Mara Quill'" in question


def test_where_nobody_can_be_asked_a_name_much_like_another_is_remarked_on(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    with open_store(tmp_path / "log") as store:
        add_named(store, "exercise", "squat")
        picked = chosen(options("--athlete", "Io", "--exercise", "sqaut"), store)
        assert picked.exercise == "sqaut"
        assert "exercise 'sqaut' is new; there is 'squat', too" in capsys.readouterr().err
        # Capitals are no other name.
        assert chosen(options("--athlete", "Io", "--exercise", "Squat"), store).exercise == "squat"
        assert capsys.readouterr().err == ""


def test_a_session_that_goes_on_says_whose_it_is_and_of_what(tmp_path, monkeypatch):
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    with open_store(tmp_path / "log") as store:
        number, _ = a_set(store)
        picked = chosen(options("--session", str(number)), store)
        whose = store.row("SELECT athlete, exercise FROM live_set WHERE session_id = ?", (number,))
        assert (picked.athlete, picked.exercise) == (whose["athlete"], whose["exercise"])


def test_the_end_of_the_answers_is_told(tmp_path, monkeypatch):
    def end(_question):
        raise EOFError

    monkeypatch.setattr("builtins.input", end)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    with (
        open_store(tmp_path / "log") as store,
        pytest.raises(InputError, match="no answer; nothing was begun"),
    ):
        chosen(options(), store)
